"""Partial lifts and repetitions, made of straight ways whose answer is known."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.dynamics.lifts import Lift, bracket_of, lifts_of
from processing.dynamics.recorded import PARTIAL_LIFTS, REPETITIONS, Recorded, Stretch
from processing.dynamics.repetition import Limit, Row, limit_of, rows_of
from processing.dynamics.results import sustain_verdict
from processing.notes import NoteLog
from processing.stages import Branch, Measurement, Note
from recordings.types import Mark

DIP, READY, ON = 10.0, 6.8, 8.8
SPEED, RATE = 5.0, 1000.0


def way_through(*places: float) -> np.ndarray:  # type: ignore[type-arg]
    """Straight ways between places at one speed, with a rest of 0.1 s at each."""
    pieces = [np.full(round(0.1 * RATE), places[0])]
    for before, after in pairwise(places):
        steps = max(2, round(abs(after - before) / SPEED * RATE))
        pieces += [np.linspace(before, after, steps), np.full(round(0.1 * RATE), after)]
    return np.concatenate(pieces)


def recorded(step: str, *ways: np.ndarray, ready_mm: float = READY) -> Recorded:  # type: ignore[type-arg]
    """Stretches one after the other over a key that sounds at ON once it has been above ready_mm."""
    notes, stretches, begins, armed = [], [], 0, True
    for way in ways:
        time_s = (begins + np.arange(len(way))) / RATE
        for at in range(1, len(way)):
            armed = armed or bool(way[at] <= ready_mm)
            if armed and way[at - 1] < ON <= way[at]:
                notes.append(Note(float(time_s[at]), 64.0, None))
                armed = False
        stretches.append(Stretch(Mark(step, begins, begins + len(way) - 1, step), Branch(time_s, way, 0.0 * way)))
        begins += len(way)
    return Recorded(tuple(stretches), NoteLog(tuple(notes), 0, 0, heard=True))


def lifted(*heights: float, ready_mm: float = READY) -> tuple[Lift, ...]:
    ways = [way_through(-0.6, DIP), *(way_through(DIP, DIP - height, DIP) for height in heights)]
    return lifts_of(recorded(PARTIAL_LIFTS, *ways, ready_mm=ready_mm), DIP)


def test_each_lift_is_told_with_its_height_and_whether_it_sounded() -> None:
    told = lifted(5.0, 2.5, 3.75, 3.1)

    assert [round(lift.height_mm, 3) for lift in told] == [5.0, 2.5, 3.75, 3.1]
    assert [lift.sounded for lift in told] == [True, False, True, False]


@settings(max_examples=30, deadline=None)
@given(ready_mm=st.floats(5.2, 8.7))
def test_halving_brackets_the_place_of_reset(ready_mm: float) -> None:
    """The bracket holds the truth, dip - ready, by construction of the lifts."""
    fails, works, heights = 0.0, 5.0, []
    for _ in range(6):
        heights.append((fails + works) / 2.0)
        fails, works = (fails, heights[-1]) if DIP - heights[-1] <= ready_mm else (heights[-1], works)
    bracket = bracket_of(lifted(5.0, *heights, ready_mm=ready_mm))

    assert bracket is not None
    assert abs(bracket.middle_mm - (DIP - ready_mm)) <= bracket.half_gap_mm + 1e-9
    assert bracket.half_gap_mm == pytest.approx(5.0 / 2**7)
    assert not bracket.crossed


def test_a_lift_of_nothing_fails_by_definition() -> None:
    bracket = bracket_of((Lift(2.0, True),))

    assert bracket is not None
    assert (bracket.middle_mm, bracket.half_gap_mm) == (1.0, 1.0)


def test_a_higher_lift_that_failed_is_told() -> None:
    bracket = bracket_of((Lift(2.0, True), Lift(3.0, False)))

    assert bracket is not None
    assert bracket.crossed


def test_a_key_that_never_sounds_again_has_no_bracket() -> None:
    assert bracket_of((Lift(2.0, False),)) is None


def test_rows_are_counted_and_timed_by_their_own_presses() -> None:
    """Ten presses 6 mm down and up at 5 mm/s with two rests of 0.1 s: a period of 2.6 s."""
    (row,) = rows_of(recorded(REPETITIONS, way_through(3.6, *10 * (9.6, 3.6))))

    assert (row.presses, row.sounded) == (10, 10)
    assert row.rate_hz == pytest.approx(1.0 / 2.6, rel=1e-3)


def test_a_key_that_is_not_ready_again_misses_all_but_the_first() -> None:
    (row,) = rows_of(recorded(REPETITIONS, way_through(5.0, *10 * (9.6, 5.0)), ready_mm=4.0))

    assert (row.presses, row.sounded) == (10, 1)


@pytest.mark.parametrize(
    ("rows", "limit"),
    [
        pytest.param((Row(2.0, 10, 10), Row(3.0, 10, 10), Row(4.0, 10, 9)), Limit(3.0, 4.0, 0.0), id="one lost"),
        pytest.param((Row(2.0, 10, 10), Row(3.0, 10, 10)), Limit(3.0, None, 0.0), id="the ladder ended first"),
        pytest.param((Row(2.0, 10, 10), Row(3.0, 6, 6)), Limit(2.0, None, 0.0), id="turned back: too few presses"),
        pytest.param((Row(2.0, 10, 9),), None, id="never sound"),
    ],
)
def test_the_limit_is_the_highest_rate_at_which_ten_of_ten_sound(rows: tuple[Row, ...], limit: Limit | None) -> None:
    assert limit_of(rows, 10) == limit


@pytest.mark.parametrize(
    ("window", "over", "verdict"),
    [(1.2, 0.1, "clear"), (0.55, 0.1, "narrow"), (0.2, 0.1, "narrow"), (0.05, 0.1, "narrow"), (-0.3, 0.1, "none")],
)
def test_clear_and_none_are_said_only_where_they_are_sure(window: float, over: float, verdict: str) -> None:
    told = Measurement(name="sustain_window", unit="mm", value=window, u=over / 2.0, coverage_factor=2.0)

    assert sustain_verdict(told, 0.5) == verdict


def test_no_window_no_verdict() -> None:
    assert sustain_verdict(Measurement(name="sustain_window", unit="mm", value=None), 0.5) is None
