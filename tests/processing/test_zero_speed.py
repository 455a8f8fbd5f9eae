"""Latency and zero-speed places of ladders that are made with them, so the answer is known exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.dynamics.presses import Press
from processing.dynamics.zero_speed import ZeroSpeed, note_offs, note_ons, same_speed, to_zero_speed
from processing.stages import Branch, Note
from tests.processing.ladders import KNOBS, OFF_MM, ON_MM, PLACE_U_MM, Ramp, a_ladder, a_press


def line_of(presses: list[Press]) -> ZeroSpeed | None:
    return to_zero_speed(note_ons(presses, following_newton=0.03), place_u_mm=PLACE_U_MM, settings=KNOBS)


def moved(press: Press, by_mm: float) -> Press:
    down = press.down
    return replace(press, down=Branch(down.time_s.copy(), down.way_mm + by_mm, down.force_newton.copy()))


@pytest.mark.parametrize("latency_s", [0.0, 0.001, 0.004, 0.008])
def test_a_ladder_gives_its_latency_back_even_where_the_motor_brakes(latency_s: float) -> None:
    """x_observed = x_0 + integral of the speed over the latency: at 100 mm/s the ramp ends 1 mm before the turn."""
    line = line_of(a_ladder(latency_s=latency_s))

    assert line is not None
    assert line.latency_s == pytest.approx(latency_s, abs=1e-5)  # speeds are taken over 0.1 mm at least
    assert line.place_mm == pytest.approx(ON_MM, abs=1e-4)
    assert line.left_out == ()


def test_the_end_of_the_note_is_taken_to_zero_speed_on_the_way_up() -> None:
    line = to_zero_speed(note_offs(a_ladder()), place_u_mm=PLACE_U_MM, settings=KNOBS)

    assert line is not None
    assert line.place_mm == pytest.approx(OFF_MM, abs=1e-4)
    assert line.latency_s == pytest.approx(0.004, abs=1e-5)


@settings(max_examples=20, deadline=None)
@given(by_mm=st.floats(-20.0, 20.0))
def test_shifting_the_way_shifts_the_place_and_leaves_the_latency(by_mm: float) -> None:
    here, there = line_of(a_ladder()), line_of([moved(press, by_mm) for press in a_ladder()])

    assert here is not None
    assert there is not None
    assert there.latency_s == pytest.approx(here.latency_s, abs=1e-9)
    assert there.place_mm == pytest.approx(here.place_mm + by_mm, abs=1e-9)


@pytest.mark.parametrize("bad", [0.02, 0.1, -0.1])
@pytest.mark.parametrize("which", [2, 4, 9])
def test_one_bad_stroke_is_left_out_by_name_and_changes_nothing(which: int, bad: float) -> None:
    """By its note being told so many seconds off: Theil-Sen bears 29 % of bad points."""
    presses = [*a_ladder(), *a_ladder()]
    late = presses[which]
    assert late.note is not None
    spoiled = replace(late, name="bad", note=replace(late.note, on_s=late.note.on_s + bad))
    line = line_of([*presses[:which], spoiled, *presses[which + 1 :]])

    assert line is not None
    assert line.left_out == ("bad",)
    assert line.latency_s == pytest.approx(0.004, abs=1e-5)
    assert line.place_mm == pytest.approx(ON_MM, abs=1e-4)


def test_a_key_that_ran_ahead_of_the_plunger_says_nothing_of_its_place() -> None:
    flying = a_press(Ramp(speed=100.0), newton=0.0)

    assert note_ons([flying], following_newton=0.03) == []


@pytest.mark.parametrize("speeds", [(4.0,), (4.0, 4.1, 4.2), (4.0, 7.0)])
def test_strokes_of_about_one_speed_make_no_line(speeds: tuple[float, ...]) -> None:
    assert line_of(a_ladder(speeds=speeds)) is None


def test_a_note_told_before_its_cause_is_not_believed() -> None:
    """Deeper on slow strokes by a millimetre: the slope would be a latency of -20 ms."""
    ladder = a_ladder(latency_s=0.0)

    assert line_of([moved(ladder[0], 1.0), moved(ladder[1], 1.0), ladder[4]]) is None


def test_a_trembling_hand_is_not_several_speeds() -> None:
    """Strokes of 4 mm/s with a tremor of 3 mm/s at 8 Hz: speeds at the note differ fourfold, the strokes do not."""
    presses = []
    for phase in np.linspace(0.0, 5.0, 6):
        time_s = np.arange(0.0, 2.4, 0.00025)
        way = 4.0 * time_s + 3.0 / (2.0 * np.pi * 8.0) * (np.sin(2.0 * np.pi * 8.0 * time_s + phase) - np.sin(phase))
        on_s = float(np.interp(ON_MM, way, time_s)) + 0.004
        down = Branch(time_s, way, np.full(len(way), 0.6))
        presses.append(replace(a_press(Ramp(speed=4.0)), down=down, note=Note(on_s, 64.0, None)))

    assert line_of(presses) is None


def test_two_speeds_make_a_line_as_unsure_as_the_scan_leaves_it() -> None:
    """Two points and known variances: u(slope)^2 = (u1^2 + u2^2) / (v2 - v1)^2 (propagation through a difference)."""
    line = line_of(a_ladder(speeds=(4.0, 10.0)))
    u = np.hypot(PLACE_U_MM, np.array([4.0, 10.0]) * KNOBS.note_jitter_s)

    assert line is not None
    assert line.latency_u_s == pytest.approx(float(np.hypot(*u)) / 6.0, rel=1e-3)


def test_a_scatter_beyond_the_scan_widens_the_line() -> None:
    """A note that comes 0 to 10 ms late at random: the slope's u must be some milliseconds / sqrt(n), not tenths."""
    random = np.random.default_rng(3)
    presses = [
        a_press(Ramp(speed=float(speed)), latency_s=float(late))
        for speed, late in zip(np.geomspace(4.0, 60.0, 14), random.uniform(0.0, 0.01, 14), strict=True)
    ]
    line = line_of(presses)

    assert line is not None
    assert line.latency_u_s > 2.0 * KNOBS.note_jitter_s
    assert abs(line.latency_s - 0.005) <= 3.0 * line.latency_u_s


def test_strokes_whose_speeds_differ_by_a_few_percent_are_of_one_speed() -> None:
    groups = same_speed(np.array([10.0, 4.0, 4.1, -10.2, 20.0]), 0.05)

    assert [sorted(group.tolist()) for group in groups] == [[1, 2], [0, 3], [4]]
