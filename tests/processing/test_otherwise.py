"""Numbers read again: what smoothing, inertia and late notes do to them, by closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from processing.budget.otherwise_lines import AT_FEET, otherwise_lines
from processing.budget.sources import LATENCY
from processing.features.read_off import NotePlaces
from processing.inertia import PRIOR_KG, Accelerations, mass_of, without_inertia
from processing.kink import LEFT_SHARE, top_shift_mm
from processing.otherwise import notes_as_late_as_may_be, smoothed_again
from processing.rectangular import covered, factor_share
from processing.stages import Curve
from tests.builders import a_curve

X = np.arange(0.0, 12.0, 0.01)
HALF_WIDTH_MM = 0.12


def a_smooth_curve(down: NDArray[np.float64]) -> Curve:
    return replace(a_curve(X, down, down / 2), half_width_mm=HALF_WIDTH_MM)


def test_smoothing_again_leaves_a_parabola_alone() -> None:
    curve = a_smooth_curve(0.5 + 0.03 * X - 0.002 * X**2)

    again = smoothed_again(curve)

    inside = slice(20, -20)
    assert again.down_newton[inside] == pytest.approx(curve.down_newton[inside], abs=1e-12)
    assert again.up_newton is not None


def test_smoothing_again_shows_what_smoothing_once_has_done_to_a_wave() -> None:
    """A sine comes out as itself times g: once takes off 1 - g, once more g - g^2, nearly the same."""
    wave = np.sin(2 * np.pi * X / 0.7)
    once = smoothed_again(a_smooth_curve(wave))

    again = smoothed_again(once)

    inside = slice(100, -100)
    taken_once = float(np.ptp(wave[inside]) - np.ptp(once.down_newton[inside]))
    taken_again = float(np.ptp(once.down_newton[inside]) - np.ptp(again.down_newton[inside]))
    assert taken_again == pytest.approx(taken_once, rel=0.1)
    assert taken_once > 1e-3


def _ridge(x: NDArray[np.float64], rise_mm: float, fall_mm: float, slope: float = 0.0) -> NDArray[np.float64]:
    """A raised cosine of 0.2 N with its crest at 6 mm, on a slope."""
    width = np.where(x < 6.0, rise_mm, fall_mm)
    ridge: NDArray[np.float64] = 0.5 + 0.1 * (1.0 + np.cos(np.pi * np.clip((x - 6.0) / width, -1.0, 1.0))) + slope * x
    return ridge


@pytest.mark.parametrize("slope", [0.0, 0.01, 0.02])
@pytest.mark.parametrize(("rise_mm", "fall_mm"), [(0.75, 0.35), (0.75, 0.6), (1.0, 0.5), (1.45, 0.35), (1.45, 0.6)])
def test_the_top_of_a_lopsided_peak_is_moved_back_to_within_the_stated_share_of_the_kernel(
    rise_mm: float, fall_mm: float, slope: float
) -> None:
    fine = np.arange(5.5, 6.5, 1e-4)
    true_mm = float(fine[np.argmax(_ridge(fine, rise_mm, fall_mm, slope))])
    curve = smoothed_again(a_smooth_curve(_ridge(X, rise_mm, fall_mm, slope)))

    at = 550 + int(np.argmax(curve.down_newton[550:650]))
    left, middle, right = curve.down_newton[at - 1 : at + 2]
    place_mm = 0.01 * at + 0.005 * (left - right) / (left - 2 * middle + right)
    off = place_mm - top_shift_mm(curve, at, 0.2) - true_mm
    assert abs(off) < LEFT_SHARE * HALF_WIDTH_MM
    if slope == 0.0 and fall_mm < 0.5:
        assert abs(off) < 0.25 * abs(place_mm - true_mm)


def test_an_even_peak_is_not_moved() -> None:
    curve = a_smooth_curve(_ridge(X, 0.5, 0.5))

    assert top_shift_mm(curve, 600, 0.2) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("fall_mm", [0.30, 0.35, 0.45])
def test_at_feet_and_tops_smoothing_once_more_shows_less_than_smoothing_has_done(fall_mm: float) -> None:
    raw = a_smooth_curve(_ridge(X, 0.9, fall_mm))
    once = smoothed_again(raw)
    lows = [float(curve.down_newton[600:750].min()) for curve in (raw, once, smoothed_again(once))]

    assert (lows[1] - lows[0]) / (lows[2] - lows[1]) == pytest.approx(AT_FEET["letoff_drop"], rel=0.1)


def test_a_late_note_is_taken_back_by_the_way_gone_meanwhile() -> None:
    notes = NotePlaces(8.0, 5.0, 4.0, "", plunger_at_trigger_mm_per_s=3.0, plunger_at_release_mm_per_s=6.0)

    earlier = notes_as_late_as_may_be(notes, 0.005)

    assert earlier.trigger_mm == pytest.approx(8.0 - 0.015)
    assert earlier.release_mm == pytest.approx(5.0 + 0.030)


def test_a_note_that_may_be_late_stays_where_it_was_told_and_its_bound_is_left() -> None:
    """20 um late at most, and raw by definition: a rectangle of 20 either way, 20 / sqrt 3 (GUM 4.3.7)."""
    curve = a_smooth_curve(np.full(len(X), 0.5))

    lines, corrections = otherwise_lines(
        "trigger_position", "mm", lean=0.0, heavier=0.0, stricter=0.0, smoother=0.0, later=-0.02, curve=curve
    )

    assert corrections == ()
    assert {line.name: line.u for line in lines}[LATENCY] == pytest.approx(0.02 / np.sqrt(3.0))


def _pressed_with_tremor(kg: float, amplitude_m_per_s2: float) -> tuple[tuple[Curve, ...], tuple[Accelerations, ...]]:
    """Three strokes of a key of 0.5 N, the hand trembling each time with another phase."""
    bent = [amplitude_m_per_s2 * np.sin(2 * np.pi * (X / 0.45 + phase)) for phase in (0.0, 0.3, 0.7)]
    noise = np.random.default_rng(1).normal(0.0, 0.0003, (3, len(X)))
    curves = tuple(a_curve(X, 0.5 + kg * m_per_s2 + off) for m_per_s2, off in zip(bent, noise, strict=True))
    return curves, tuple(Accelerations(m_per_s2, None) for m_per_s2 in bent)


def test_strokes_of_a_trembling_hand_tell_the_mass_of_the_key() -> None:
    curves, moved = _pressed_with_tremor(0.25, 0.1)

    mass = mass_of(curves, moved, 0.002)

    assert mass.kg == pytest.approx(0.25, abs=0.01)
    assert mass.u_kg < 0.01
    assert without_inertia(curves[0], moved[0], mass.kg).down_newton == pytest.approx(np.full(len(X), 0.5), abs=0.003)


def test_strokes_that_differ_only_by_noise_tell_nothing_of_the_mass() -> None:
    curves, moved = _pressed_with_tremor(0.25, 0.001)

    mass = mass_of(curves, moved, 0.002)

    assert mass.kg == PRIOR_KG
    assert mass.u_kg == pytest.approx(0.35 / np.sqrt(12.0))


def test_a_bound_alone_needs_the_factor_of_a_rectangle() -> None:
    """0.95 sqrt(3) = 1.645 for a rectangle, 1.960 for a bell."""
    assert 1.959964 * factor_share(1.0, 1.0, 0.95) == pytest.approx(0.95 * np.sqrt(3.0), abs=2e-3)
    assert factor_share(0.0, 1.0, 0.95) == 1.0


def test_a_bound_and_a_bell_together_cover_what_is_said() -> None:
    """Held against 200,000 draws: their share within the reach is known to 0.0005."""
    random = np.random.default_rng(5)
    drawn = random.uniform(-1.0, 1.0, 200_000) + random.normal(0.0, 0.3, 200_000)

    assert covered(1.2, 1.0, 0.3) == pytest.approx(float(np.mean(np.abs(drawn) <= 1.2)), abs=0.002)
