"""Strokes whose speed, reversals and forces are known by construction, judged as they come."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import log, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.judge import StrokeJudge
from daq.verdict import FaultKind, JudgeSettings, NowState, StrokeVerdict, inertia_newton
from recordings.types import RawTrace
from tests.builders import Array, SyntheticKey, a_calibration, a_trace

KEY = SyntheticKey()
TURN_MM = 10.1
BED_NEWTON = 0.5 + 6.0 * (TURN_MM - 9.5)
"""What the synthetic key gives there: its plateau and its straight bed."""
Way = tuple[tuple[float, float], ...]
"""(where to, in mm from touch, how fast); the same place again: that many seconds of rest."""
GOOD: Way = ((-1.0, 0.5), (TURN_MM, 4.0), (-1.0, 3.0), (-1.0, 0.5))


def going(way: Way, rate_hz: float = 1000.0) -> tuple[Array, Array, Array]:
    """Return time, place and force: straight lines between the places, the force of the way down or up."""
    knots_s, knots_mm = [0.0], [way[0][0]]
    for to_mm, how in way:
        distance = abs(to_mm - knots_mm[-1])
        knots_s.append(knots_s[-1] + (distance / how if distance else how))
        knots_mm.append(to_mm)
    time = np.arange(round(knots_s[-1] * rate_hz)) / rate_hz
    place = np.interp(time, knots_s, knots_mm)
    slope = np.diff(knots_mm)[np.clip(np.searchsorted(knots_s, time, side="right") - 1, 0, len(way) - 1)]
    last = np.maximum.accumulate(np.where(slope != 0, np.arange(len(time)), 0))
    down = slope[last] >= 0
    return time, place, np.where(down, KEY.force_down(place), KEY.force_up(place))


@dataclass(frozen=True, kw_only=True)
class Seen:
    """How the rig sees it."""

    rate_hz: float = 1000.0
    noise: float = 0.003
    zero: float = 0.05
    drift_newton_per_s: float = 0.0
    tremor_mm: float = 0.0
    step_mm: float = 0.0
    settings: JudgeSettings = field(default_factory=JudgeSettings)


def seen(way: Way, how: Seen) -> RawTrace:
    time, place, force = going(way, how.rate_hz)
    place = place + how.tremor_mm * np.sin(2.0 * np.pi * 10.0 * time)
    if how.step_mm:
        place = np.round(place / how.step_mm) * how.step_mm
    noise = how.noise * np.random.default_rng(1).standard_normal(len(time))
    return a_trace(time, place, force + how.zero + how.drift_newton_per_s * time + noise)


def judged(way: Way, how: Seen | None = None) -> list[StrokeVerdict]:
    how = how or Seen()
    return StrokeJudge(a_calibration(), how.settings).feed(seen(way, how))


def the_fault(verdict: StrokeVerdict, kind: FaultKind) -> tuple[float, float]:
    (found,) = [fault for fault in verdict.faults if fault.kind is kind]
    return found.value, found.limit


@pytest.mark.parametrize("rate_hz", [100.0, 333.0, 1000.0, 10_000.0])
def test_a_stroke_of_constant_speed_is_good_and_its_speeds_are_exact(rate_hz: float) -> None:
    (verdict,) = judged(GOOD, Seen(rate_hz=rate_hz))

    assert verdict.word == "good"
    assert verdict.down_mm_per_s == pytest.approx(4.0, rel=1e-4)
    assert verdict.up_mm_per_s == pytest.approx(3.0, rel=1e-4)
    assert verdict.unevenness == pytest.approx(0.0, abs=1e-3)
    assert verdict.reversal_mm == pytest.approx(0.0, abs=1e-6)
    assert verdict.depth_mm == pytest.approx(TURN_MM, abs=0.05)  # one bin at 4 mm/s is 0.04 mm
    assert verdict.peak_newton == pytest.approx(
        float(KEY.force_down(np.array([TURN_MM]))[0]), abs=0.25
    )  # a bin of the turn, 6 N/mm


@pytest.mark.parametrize("rate_hz", [100.0, 1000.0, 10_000.0])
def test_tremor_noise_and_coarse_steps_make_no_good_stroke_bad(rate_hz: float) -> None:
    worst = Seen(rate_hz=rate_hz, noise=0.012, tremor_mm=0.04, step_mm=0.02)

    (verdict,) = judged(GOOD, worst)

    assert verdict.word == "good"
    assert verdict.unevenness is not None
    assert verdict.unevenness < 0.25


def test_a_stroke_begins_where_the_plunger_sets_out_and_ends_in_the_air() -> None:
    (verdict,) = judged(GOOD)

    trace = seen(GOOD, Seen())
    assert trace.displacement_counts[verdict.first_sample] == pytest.approx(-1e6, abs=0.06e6)
    assert trace.displacement_counts[verdict.last_sample] < -0.2e6


@pytest.mark.parametrize(("speed", "word"), [(4.9, "good"), (5.1, "too fast"), (40.0, "too fast"), (200.0, "too fast")])
def test_five_millimetres_a_second_on_the_way_down_is_the_limit(speed: float, word: str) -> None:
    (verdict,) = judged(((-1.0, 0.5), (TURN_MM, speed), (-1.0, 3.0), (-1.0, 0.5)))

    assert verdict.word == word
    assert verdict.down_mm_per_s == pytest.approx(speed, rel=0.02)


def test_coming_up_too_fast_is_told_from_going_down_too_fast() -> None:
    (verdict,) = judged(((-1.0, 0.5), (TURN_MM, 4.0), (-1.0, 25.0), (-1.0, 0.5)))

    assert the_fault(verdict, FaultKind.TOO_FAST) == (pytest.approx(25.0, rel=0.01), 5.0)
    assert "on the way up" in verdict.faults[0].advice


def test_the_inertia_named_is_that_of_a_third_of_a_kilogram_started_over_half_a_millimetre() -> None:
    # by hand: 0.35 kg (10 mm/s)^2 / (2 * 0.5 mm) = 0.035 N
    assert inertia_newton(JudgeSettings(), 10.0) == pytest.approx(0.035)


@pytest.mark.parametrize(("back_mm", "word"), [(0.25, "good"), (0.35, "uneven"), (1.2, "uneven")])
@pytest.mark.parametrize("at_mm", [3.0, 8.0])
def test_a_step_back_on_the_way_down_is_found_and_measured(at_mm: float, back_mm: float, word: str) -> None:
    (verdict,) = judged(((-1.0, 0.5), (at_mm, 4.0), (at_mm - back_mm, 4.0), (TURN_MM, 4.0), (-1.0, 4.0), (-1.0, 0.5)))

    assert verdict.word == word
    assert verdict.reversal_mm == pytest.approx(back_mm, abs=0.04)  # a bin at 4 mm/s


def test_a_step_back_from_the_bed_is_found_too() -> None:
    (verdict,) = judged(((-1.0, 0.5), (TURN_MM, 4.0), (7.0, 4.0), (TURN_MM, 4.0), (-1.0, 4.0), (-1.0, 0.5)))

    below_90_percent = 0.9 * TURN_MM - 7.0
    assert the_fault(verdict, FaultKind.UNEVEN) == (pytest.approx(below_90_percent, abs=0.05), 0.3)


def test_trembling_on_the_bed_is_no_step_back() -> None:
    (verdict,) = judged(
        ((-1.0, 0.5), (TURN_MM, 4.0), (9.6, 4.0), (TURN_MM, 4.0), (9.6, 4.0), (TURN_MM, 4.0), (-1.0, 4.0), (-1.0, 0.5))
    )

    assert verdict.word == "good"


def test_unevenness_of_two_speeds_is_its_closed_form() -> None:
    slow, fast = 2.0, 8.0
    (verdict,) = judged(((-1.0, 0.5), (0.5 * TURN_MM, slow), (TURN_MM, fast), (-1.0, 4.0), (-1.0, 0.5)))

    bins = 16  # of 0.5 mm in 80 % of the way; the one in the middle has both speeds
    closed = 0.5 * log(fast / slow) * sqrt(bins / (bins - 1))
    assert verdict.unevenness == pytest.approx(closed, rel=0.05)
    assert verdict.word == ("uneven" if closed > 0.7 else "good")


def test_two_stops_on_the_way_are_uneven() -> None:
    (verdict,) = judged(
        ((-1.0, 0.5), (3.0, 5.0), (3.0, 1.0), (6.0, 5.0), (6.0, 1.0), (TURN_MM, 5.0), (-1.0, 4.0), (-1.0, 0.5))
    )

    assert verdict.word == "uneven"


def test_a_short_stroke_says_how_far_the_force_came() -> None:
    (verdict,) = judged(((-1.0, 0.5), (6.0, 4.0), (-1.0, 4.0), (-1.0, 0.5)))

    assert verdict.word == "not to the bed"
    assert the_fault(verdict, FaultKind.NOT_TO_THE_BED) == (pytest.approx(0.5, abs=0.02), 3.0)
    assert verdict.depth_mm == pytest.approx(6.0, abs=0.05)


def test_a_rest_part_way_up_is_called_while_it_lasts() -> None:
    (verdict,) = judged(((-1.0, 0.5), (TURN_MM, 4.0), (5.0, 4.0), (5.0, 1.0)))

    assert verdict.word == "not home"
    assert the_fault(verdict, FaultKind.NOT_HOME) == (pytest.approx(5.0, abs=0.06), 0.1)


@pytest.mark.parametrize("rests_s", [0.01, 1.5])
def test_a_press_from_part_way_is_a_stroke_of_its_own_and_preloaded(rests_s: float) -> None:
    first, second = judged((*GOOD[:2], (4.0, 4.0), (4.0, rests_s), (TURN_MM, 4.0), (-1.0, 4.0), (-1.0, 0.5)))

    assert first.word == "not home"
    assert second.word == "preloaded"
    assert first.last_sample <= second.first_sample + 10  # one bin


def test_a_stream_that_begins_on_the_pressed_key_is_seen_through_once_it_has_been_in_the_air() -> None:
    (verdict,) = judged(((1.0, 1.0), (TURN_MM, 4.0), (-1.0, 3.0), (-1.0, 0.5)), Seen(zero=-0.2))

    value, limit = the_fault(verdict, FaultKind.PRELOADED)
    assert value > 4.0 * limit


def test_leaning_on_the_key_before_pressing_is_preloaded_though_it_came_from_the_air() -> None:
    (verdict,) = judged(((-1.0, 0.5), (0.3, 4.0), (0.3, 1.0), (TURN_MM, 4.0), (-1.0, 3.0), (-1.0, 0.5)))

    assert verdict.word == "preloaded"


def test_touching_a_key_is_no_stroke() -> None:
    assert judged(((-1.0, 0.5), (0.8, 4.0), (-1.0, 4.0), (-1.0, 0.5))) == []


@pytest.mark.parametrize("drift", [-0.05 / 60.0, 0.05 / 60.0])
def test_a_drifting_zero_is_followed_for_minutes(drift: float) -> None:
    pressing: Way = (*GOOD[:2], (TURN_MM, 0.2), *GOOD[2:])

    verdicts = judged(pressing * 20, Seen(drift_newton_per_s=drift, noise=0.012, rate_hz=100.0))

    assert [verdict.word for verdict in verdicts] == ["good"] * 20
    assert np.ptp([verdict.peak_newton for verdict in verdicts]) < 0.06  # the drift alone would be 0.12 N


def test_a_zero_that_drifted_while_the_plunger_lay_on_the_key_is_found_again_in_the_air() -> None:
    leaning: Way = ((-1.0, 0.5), (0.3, 4.0), (0.3, 120.0), (-2.0, 4.0), (-1.0, 0.5))

    verdicts = judged((*leaning, *GOOD, *GOOD), Seen(drift_newton_per_s=0.05 / 60.0, rate_hz=100.0))

    assert [verdict.word for verdict in verdicts] == ["good", "good"]


@settings(max_examples=20)
@given(zero=st.floats(-5.0, 5.0))
def test_the_zero_of_the_cell_may_be_anything(zero: float) -> None:
    (verdict,) = judged(GOOD, Seen(zero=zero, rate_hz=200.0))

    assert verdict.word == "good"


def without(trace: RawTrace, first: int, last: int) -> RawTrace:
    keep = np.r_[0:first, last : len(trace)]
    return RawTrace(
        trace.sample_number[keep], trace.tick_us[keep], trace.force_counts[keep], trace.displacement_counts[keep]
    )


def test_samples_lost_in_a_stroke_are_a_gap() -> None:
    (verdict,) = StrokeJudge(a_calibration()).feed(without(seen(GOOD, Seen()), 2000, 2050))

    assert verdict.word == "gap"
    assert "(51 ms)" in verdict.faults[0].advice


def test_samples_lost_in_the_air_are_no_fault_of_a_stroke() -> None:
    (verdict,) = StrokeJudge(a_calibration()).feed(without(seen(GOOD, Seen()), 200, 220))

    assert verdict.word == "good"


def test_a_clock_that_starts_anew_ends_the_stroke_under_way_as_a_gap() -> None:
    trace = seen(GOOD, Seen())
    anew = replace(trace, tick_us=np.where(np.arange(len(trace)) < 2000, trace.tick_us, trace.tick_us - 2_000_000))

    verdicts = StrokeJudge(a_calibration()).feed(anew)

    assert verdicts[0].word == "gap"


MANY = seen(
    (*GOOD, *GOOD[:2], (4.0, 4.0), (TURN_MM, 25.0), (-1.0, 4.0), (-1.0, 0.3), (6.0, 4.0), (-1.0, 4.0), (-1.0, 0.5)),
    Seen(noise=0.012, rate_hz=500.0),
)


@settings(max_examples=25)
@given(cuts=st.lists(st.integers(0, len(MANY)), max_size=60))
def test_the_verdicts_do_not_depend_on_how_the_stream_is_cut(cuts: list[int]) -> None:
    whole = StrokeJudge(a_calibration()).feed(MANY)

    judge = StrokeJudge(a_calibration())
    edges = [0, *sorted(cuts), len(MANY)]
    piecewise = [verdict for a, b in pairwise(edges) for verdict in judge.feed(cut_out(MANY, a, b))]

    assert [verdict.word for verdict in whole] == ["good", "not home", "preloaded, too fast", "not to the bed"]
    assert piecewise == whole


def test_samples_one_by_one_give_the_same_verdicts() -> None:
    judge = StrokeJudge(a_calibration())

    verdicts = [verdict for at in range(len(MANY)) for verdict in judge.feed(cut_out(MANY, at, at + 1))]

    assert verdicts == StrokeJudge(a_calibration()).feed(MANY)


def cut_out(trace: RawTrace, first: int, last: int) -> RawTrace:
    return RawTrace(
        trace.sample_number[first:last],
        trace.tick_us[first:last],
        trace.force_counts[first:last],
        trace.displacement_counts[first:last],
    )


COUNTS = st.integers(-(2**31), 2**31 - 1)
LEVELS = st.one_of(COUNTS, st.integers(-12_000_000, 12_000_000), st.sampled_from([0, 60_000, 4_000_000]))


@settings(max_examples=200)
@given(
    knots=st.lists(st.tuples(LEVELS, LEVELS, st.integers(1, 60)), min_size=1, max_size=30),
    odd_ticks=st.lists(st.tuples(st.integers(0, 500), st.integers(-(10**7), 10**7)), max_size=3),
)
def test_no_counts_and_no_clock_make_it_fail(
    knots: list[tuple[int, int, int]], odd_ticks: list[tuple[int, int]]
) -> None:
    force, place, lasts = (np.array(column) for column in zip(*knots, strict=True))
    time, count = np.cumsum(lasts), int(lasts.sum())
    tick = np.arange(count, dtype=np.int64) * 10_000
    for at, jump in odd_ticks:
        tick[at:] += jump
    number = np.arange(count, dtype=np.int64)
    rows = [np.rint(np.interp(number, time, column)).astype(np.int32) for column in (force, place)]
    judge = StrokeJudge(a_calibration(compliance_mm_per_newton=0.02, force_delay_us=20_000))

    verdicts = judge.feed(RawTrace(number, tick, *rows))

    assert all(verdict.first_sample <= verdict.last_sample for verdict in verdicts)
    assert all(np.isfinite(verdict.depth_mm) and verdict.depth_mm >= 1.0 for verdict in verdicts)
    assert 0.0 <= judge.now.share <= 1.0


def test_the_moment_goes_through_a_stroke_as_the_hand_does() -> None:
    judge = StrokeJudge(a_calibration())
    trace = seen((*GOOD[:2], (TURN_MM, 0.5), *GOOD[2:]), Seen())
    states, shares = [judge.now.state], []
    for first in range(0, len(trace), 50):
        judge.feed(cut_out(trace, first, first + 50))
        states.append(judge.now.state)
        shares.append(judge.now.share)

    met = [state for before, state in zip([None, *states], states, strict=False) if state is not before]
    assert met == [
        NowState.WAITING,
        NowState.IN_THE_AIR,
        NowState.GOING_DOWN,
        NowState.ON_THE_BED,
        NowState.COMING_UP,
        NowState.IN_THE_AIR,
    ]
    assert max(shares) == 1.0
    assert shares[-1] == 0.0


def test_the_moment_gives_depth_force_and_speed() -> None:
    judge = StrokeJudge(a_calibration())
    judge.feed(cut_out(seen(GOOD, Seen()), 0, 2000))  # 0.5 s of rest, then 1.5 s at 4 mm/s from -1 mm

    assert judge.now.depth_mm == pytest.approx(5.0, abs=0.08)
    assert judge.now.force_newton == pytest.approx(KEY.down, abs=0.02)
    assert judge.now.speed_mm_per_s == pytest.approx(4.0, rel=0.01)
    assert judge.now.share == pytest.approx(0.5, abs=0.01)


def test_a_zero_learnt_too_low_from_a_knock_costs_no_stroke() -> None:
    trace = seen(GOOD * 5, Seen())
    knocked = trace.force_counts - np.where(np.arange(len(trace)) < 400, 100_000, 0).astype(np.int32)

    verdicts = StrokeJudge(a_calibration()).feed(replace(trace, force_counts=knocked))

    assert [verdict.word for verdict in verdicts] == ["good"] * 5


def test_a_cell_that_is_set_to_zero_anew_in_the_air_is_followed() -> None:
    trace = seen(GOOD * 5, Seen())
    third_rest = 2 * len(trace) // 5 + 200
    anew = trace.force_counts + np.where(np.arange(len(trace)) < third_rest, 0, 300_000).astype(np.int32)

    verdicts = StrokeJudge(a_calibration()).feed(replace(trace, force_counts=anew))

    assert [verdict.word for verdict in verdicts] == ["good"] * 5
