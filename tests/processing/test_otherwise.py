"""Numbers read again: what smoothing, inertia and late notes do to them, by closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from processing.features.read_off import NotePlaces
from processing.inertia import PRIOR_KG, Accelerations, mass_of, without_inertia
from processing.otherwise import (
    KINK_SHIFT_SHARE,
    equivalent_kernel,
    notes_as_late_as_may_be,
    smoothed_again,
)
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


@pytest.mark.parametrize(("rise_mm", "fall_mm"), [(0.775, 0.35), (1.45, 0.6), (1.0, 0.5)])
def test_a_lopsided_peak_moves_by_no_more_than_a_ninth_of_the_kernel(rise_mm: float, fall_mm: float) -> None:
    width = np.where(X < 6.0, rise_mm, fall_mm)
    ridge = 0.5 + 0.1 * (1.0 + np.cos(np.pi * np.clip((X - 6.0) / width, -1.0, 1.0)))

    top = np.convolve(ridge, equivalent_kernel(a_smooth_curve(ridge)), "same")[550:650]

    at = int(np.argmax(top))
    left, middle, right = top[at - 1 : at + 2]
    place_mm = 5.5 + 0.01 * at + 0.005 * (left - right) / (left - 2 * middle + right)
    assert 0.08 * HALF_WIDTH_MM < 6.0 - place_mm < 1.05 * KINK_SHIFT_SHARE * HALF_WIDTH_MM


def test_a_late_note_is_taken_back_by_the_way_gone_meanwhile() -> None:
    notes = NotePlaces(8.0, 5.0, 4.0, "", plunger_at_trigger_mm_per_s=3.0, plunger_at_release_mm_per_s=6.0)

    earlier = notes_as_late_as_may_be(notes, 0.005)

    assert earlier.trigger_mm == pytest.approx(8.0 - 0.015)
    assert earlier.release_mm == pytest.approx(5.0 + 0.030)


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
