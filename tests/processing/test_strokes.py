"""From counts to strokes: zero, touch and what was air, on presses known by construction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import median_filter

from processing.calibrate import WILD_SIGMAS, calibrate, is_wild, noise_sigma
from processing.errors import NoStroke
from processing.pipeline import analyse_key
from processing.segment import split_presses
from processing.stages import BoolArray, CalibratedTrace, FloatArray, Stroke
from processing.strokes import to_stroke
from recordings.types import KeyRecording, RawEvents, RawTrace
from tests.builders import C4, QUICK, SETTINGS, Press, SyntheticKey, a_calibration, a_trace, pressed

KEY = SyntheticKey()


def calibrated(how: Press, key: SyntheticKey = KEY) -> CalibratedTrace:
    return calibrate(a_trace(*pressed(key, how)), a_calibration())


def strokes_of(trace: CalibratedTrace) -> tuple[Stroke, ...]:
    return tuple(to_stroke(trace, press, SETTINGS.stroke) for press in split_presses(trace, SETTINGS.stroke))


@pytest.mark.parametrize("count", [1, 2, 5])
def test_presses_are_counted(count: int) -> None:
    assert len(split_presses(calibrated(Press(strokes=count)), SETTINGS.stroke)) == count


@settings(max_examples=25, deadline=None)
@given(zero=st.floats(-0.5, 0.5), place=st.floats(-50.0, 50.0))
def test_zero_and_touch_are_found_wherever_they_lie(zero: float, place: float) -> None:
    for stroke in strokes_of(calibrated(Press(zero=zero, place=place))):
        assert stroke.zero_newton == pytest.approx(zero, abs=0.001)
        assert stroke.touch_mm == pytest.approx(place, abs=0.005)
        assert not stroke.preloaded


def test_a_stroke_that_starts_right_at_the_key_is_not_preloaded() -> None:
    for stroke in strokes_of(calibrated(Press(air_mm=0.0, zero=0.12))):
        assert stroke.zero_newton == pytest.approx(0.12, abs=0.01)
        assert not stroke.preloaded


def test_a_stroke_that_starts_on_the_loaded_key_says_so_and_keeps_the_zero_as_recorded() -> None:
    for stroke in strokes_of(calibrated(Press(air_mm=-1.0))):
        assert stroke.preloaded
        assert stroke.zero_newton == 0.0
        assert stroke.touch_mm == pytest.approx(1.0, abs=0.01)


def test_a_drifting_zero_is_taken_out_along_a_line() -> None:
    time, way, force = pressed(KEY, Press())
    drifted = calibrate(a_trace(time, way, force + 0.002 * time), a_calibration())
    for stroke in strokes_of(drifted):
        plateau = (stroke.down.way_mm > 2.0) & (stroke.down.way_mm < 6.0)
        assert np.mean(stroke.down.force_newton[plateau]) == pytest.approx(KEY.down, abs=0.0005)


def test_an_approach_that_only_touches_is_no_stroke_and_no_part_of_one() -> None:
    time, way, force = pressed(KEY, Press(strokes=1))
    touch_way = np.concatenate([np.linspace(-3.0, 0.02, 300), np.linspace(0.02, -0.6, 60)])
    touch_force = np.where(touch_way > 0.0, 0.1, 0.0)
    dt = 0.001
    whole_time = np.arange(len(touch_way) + len(time)) * dt
    trace = calibrate(
        a_trace(whole_time, np.concatenate([touch_way, way]), np.concatenate([touch_force, force])), a_calibration()
    )
    (stroke,) = strokes_of(trace)

    assert stroke.down.time_s[0] > len(touch_way) * dt


def test_a_press_without_a_return_has_no_way_up() -> None:
    time, way, force = pressed(KEY, Press(strokes=1))
    turn = int(way.argmax()) + 1
    trace = calibrate(a_trace(time[:turn], way[:turn], force[:turn]), a_calibration())
    (stroke,) = strokes_of(trace)

    assert stroke.up is None
    assert stroke.zero_newton == pytest.approx(0.0, abs=0.001)


def test_going_back_and_on_again_uses_each_place_once() -> None:
    """A reversal in mid stroke shows the other sign of friction until the old place is passed."""
    _, way, force = pressed(KEY, Press(strokes=1, noise=0.0))
    at = int(np.flatnonzero(way > 5.0)[0])
    back = np.concatenate([np.linspace(5.0, 4.5, 125), np.linspace(4.5, 5.0, 125)])
    way = np.concatenate([way[:at], back, way[at:]])
    force = np.concatenate([force[:at], np.full(250, 0.28), force[at:]])
    trace = calibrate(a_trace(np.arange(len(way)) * 0.001, way, force), a_calibration())
    (stroke,) = strokes_of(trace)
    around = (stroke.down.way_mm > 4.4) & (stroke.down.way_mm < 4.95)

    assert stroke.down.force_newton[around].min() > 0.49


def test_the_give_of_the_rig_is_taken_out() -> None:
    time, way, force = pressed(KEY, Press(strokes=1, noise=0.0))
    give = 0.02
    trace = calibrate(a_trace(time, way + give * force, force), a_calibration(compliance_mm_per_newton=give))
    (stroke,) = strokes_of(trace)
    reached = np.interp(3.0, stroke.down.force_newton[-200:], stroke.down.way_mm[-200:])

    assert reached == pytest.approx(KEY.key_dip, abs=0.005)


def with_a_step_back(trace: CalibratedTrace) -> CalibratedTrace:
    """Go back by half a millimetre at 5 mm on the first way down, and on again."""
    at = int(np.flatnonzero(trace.displacement_mm >= 5.0)[0])
    places = np.r_[:at, at - 125 : at, at - 125 : len(trace.time_s)]
    places[at : at + 125] = places[at : at + 125][::-1]
    time_s = np.arange(len(places)) * 0.001
    return replace(
        trace, time_s=time_s, displacement_mm=trace.displacement_mm[places], force_newton=trace.force_newton[places]
    )


def test_without_a_step_back_there_is_no_stricter_ground() -> None:
    assert all(stroke.stricter is None for stroke in strokes_of(calibrated(Press())))


def test_stricter_ground_leaves_out_half_as_much_again_behind_a_step_back() -> None:
    stroke = strokes_of(with_a_step_back(calibrated(Press())))[0]

    assert stroke.stricter is not None
    passed_again_mm = 5.0
    left_out = [
        np.diff(branch.way_mm)[np.flatnonzero(branch.way_mm >= passed_again_mm - 0.1)[0] :].max()
        for branch in (stroke.down, stroke.stricter[0])
    ]
    assert left_out == pytest.approx([SETTINGS.stroke.new_ground_mm, 1.5 * SETTINGS.stroke.new_ground_mm], abs=0.008)


def test_a_late_force_channel_is_brought_back_in_time() -> None:
    time, way, force = pressed(KEY, Press(strokes=1, noise=0.0))
    late = np.concatenate([np.full(3, force[0]), force[:-3]])
    trace = calibrate(a_trace(time, way, late), a_calibration(force_delay_us=3000))

    assert trace.force_newton[:-3] == pytest.approx(force[:-3], abs=2e-6)


@pytest.mark.parametrize(
    ("way", "told"),
    [
        pytest.param(np.zeros(100), "moved 0.00 mm", id="nothing moved"),
        pytest.param(np.zeros(3), "3 samples", id="hardly a sample"),
    ],
)
def test_a_trace_without_a_press_says_why(way: np.ndarray, told: str) -> None:
    trace = calibrate(a_trace(np.arange(len(way)) * 0.001, way, np.zeros(len(way))), a_calibration())

    with pytest.raises(NoStroke, match=told):
        split_presses(trace, SETTINGS.stroke)


def test_single_wild_samples_are_left_out_and_counted() -> None:
    time, way, force = pressed(KEY, Press(strokes=1))
    force[[500, 1500]] += 1.0
    trace = calibrate(a_trace(time, way, force), a_calibration())

    assert trace.outliers == 2
    assert len(trace.time_s) == len(time) - 2


def test_a_real_edge_is_not_wild() -> None:
    edge = np.concatenate([np.zeros(50), np.ones(50)]) + 0.001 * np.random.default_rng(1).standard_normal(100)

    assert not is_wild(edge, 0.1).any()


def wild_by_definition(signal: FloatArray, least: float) -> BoolArray:
    """Every sample held against the median of five around it (scipy.ndimage) and against its two neighbours."""
    off = np.abs(signal - median_filter(signal, 5, mode="nearest"))
    before, after = np.roll(signal, 1), np.roll(signal, -1)
    alone = np.minimum(np.abs(signal - before), np.abs(signal - after)) > 2.0 * np.abs(after - before)
    wild: BoolArray = alone & (off > max(least, WILD_SIGMAS * noise_sigma(signal)))
    return wild


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 1000),
    wild=st.lists(st.tuples(st.integers(0, 79), st.floats(-2.0, 2.0)), max_size=12),
    edge=st.integers(0, 80),
)
def test_wild_samples_are_those_of_the_definition(seed: int, wild: list[tuple[int, float]], edge: int) -> None:
    signal = 0.003 * np.random.default_rng(seed).standard_normal(80)
    signal[edge:] += 1.0
    for place, height in wild:
        signal[place] += height

    assert np.array_equal(is_wild(signal, 0.1), wild_by_definition(signal, 0.1))


def test_missing_samples_are_counted_as_gaps() -> None:
    whole = a_trace(*pressed(KEY, Press(strokes=1)))
    kept = np.delete(np.arange(len(whole)), [100, 101, 2000])
    holed = RawTrace(*(getattr(whole, name)[kept] for name in RawTrace.__slots__))

    assert calibrate(holed, a_calibration()).gaps == 2


@pytest.mark.parametrize("sigma", [0.0005, 0.003, 0.03])
def test_noise_is_estimated_on_a_slope(sigma: float) -> None:
    signal = np.linspace(0.0, 5.0, 20_000) + sigma * np.random.default_rng(2).standard_normal(20_000)

    assert noise_sigma(signal) == pytest.approx(sigma, rel=0.05)


def test_a_light_key_that_lets_go_for_an_instant_was_touched_before_it() -> None:
    """Met at speed, it rings on the rig's give: for a hundredth of a millimetre the plunger presses on nothing."""
    time, way, force = pressed(SyntheticKey(), Press(speed=2.0))
    rings = (way > 0.06) & (way < 0.075)

    plain, rung = (
        analyse_key(KeyRecording(C4, a_trace(time, way, newton), RawEvents.none()), a_calibration(), QUICK)
        for newton in (force, np.where(rings, 0.0, force))
    )

    assert rung["key_dip"].value == pytest.approx(plain["key_dip"].value, abs=0.003)
