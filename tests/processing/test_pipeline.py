"""The whole analysis on keys known by construction, clean and ugly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.pipeline import analyse, analyse_key
from processing.stages import KeyResult
from recordings.types import KeyRecording, RawEvents, RawTrace, join
from tests.builders import C4, QUICK, Press, SyntheticKey, a_calibration, a_header, a_recording, a_trace, midi, pressed

KEY = SyntheticKey()


TRUTHS = (
    # name, true value, what smoothing may do to it whatever the noise
    ("down_weight", KEY.down, 0.0002),
    ("up_weight", KEY.up, 0.0002),
    ("friction", (KEY.down - KEY.up) / 2, 0.0002),
    ("key_dip", KEY.key_dip, 0.005),
    ("letoff_peak_position", KEY.peak_mm, 0.02),
    ("letoff_drop", KEY.peak_rise, 0.004),
)


def result_of(recording: KeyRecording) -> KeyResult:
    return analyse_key(recording, a_calibration(), QUICK)


def codes(result: KeyResult) -> list[str]:
    return [finding.code for finding in result.findings]


@settings(max_examples=25, deadline=None)
@given(
    rate_hz=st.sampled_from([200.0, 500.0, 1000.0, 4000.0]),
    noise=st.floats(0.0005, 0.01),
    zero=st.floats(-0.3, 0.3),
    place=st.floats(-20.0, 20.0),
    strokes=st.integers(1, 4),
    seed=st.integers(0, 1000),
)
def test_weights_and_places_do_not_depend_on_how_it_was_recorded(
    rate_hz: float, noise: float, zero: float, place: float, strokes: int, seed: int
) -> None:
    how = Press(rate_hz=rate_hz, noise=noise, zero=zero, place=place, strokes=strokes, seed=seed)
    result = result_of(a_recording(KEY, how))

    assert result.strokes == strokes
    assert result.letoff == "found"
    for name, truth, slack in TRUTHS:
        measured = result[name]
        assert measured.value is not None
        assert measured.u is not None
        assert abs(measured.value - truth) <= 5.0 * measured.u + slack, name


@settings(max_examples=15, deadline=None)
@given(noise=st.floats(0.0005, 0.02), seed=st.integers(0, 1000))
def test_no_letoff_is_invented_on_a_key_without_one(noise: float, seed: int) -> None:
    result = result_of(a_recording(replace(KEY, peak_rise=0.0), Press(noise=noise, seed=seed)))

    assert result.letoff == "none"
    assert result["letoff_drop"].value is None
    assert "detection limit" in (result["letoff_drop"].reason or "")


def test_reversing_the_order_of_strokes_changes_nothing() -> None:
    keys = [replace(KEY, down=KEY.down + shift) for shift in (0.0, 0.004, 0.009)]

    def recorded(order: list[SyntheticKey]) -> KeyRecording:
        parts = [pressed(key, Press(strokes=1, seed=round(1e4 * key.down))) for key in order]
        way, force = (np.concatenate([part[place] for part in parts]) for place in (1, 2))
        return KeyRecording(C4, a_trace(np.arange(len(way)) * 0.001, way, force), a_recording().events)

    one, other = result_of(recorded(keys)), result_of(recorded(keys[::-1]))
    assert one["down_weight"].value == pytest.approx(other["down_weight"].value, abs=1e-5)
    assert one["letoff_peak_force"].value == pytest.approx(other["letoff_peak_force"].value, abs=1e-5)


def test_every_number_comes_with_its_uncertainty_or_a_reason() -> None:
    for measurement in result_of(a_recording()).measurements:
        if measurement.value is None:
            assert measurement.reason
        else:
            assert measurement.u is not None
            assert measurement.u > 0.0
            assert measurement.dof is not None
            assert measurement.dof >= 1.0
            assert measurement.expanded is not None
            assert measurement.expanded > measurement.u


def test_one_stroke_says_that_its_repeatability_is_not_known() -> None:
    result = result_of(a_recording(how=Press(strokes=1)))

    assert "single_stroke" in result["down_weight"].flags
    assert "single_stroke" in codes(result)


def test_a_note_without_events_is_missing_with_the_reason() -> None:
    result = result_of(a_recording())

    assert result["trigger_position"].value is None
    assert result["trigger_position"].reason == "no note events were recorded"


def test_a_note_on_the_way_down_and_up_is_placed() -> None:
    how = Press(strokes=1, noise=0.0)
    time, way, _ = pressed(KEY, how)
    turn = int(way.argmax())
    on_s = float(time[np.flatnonzero(way >= 8.6)[0]])
    off_s = float(time[turn + int(np.flatnonzero(way[turn:] <= 5.0)[0])])
    events = midi((on_s, b"\x90\x3c\x20"), (off_s, b"\x80\x3c\x40"))
    result = result_of(a_recording(KEY, how, events=events))

    assert result["trigger_position"].value == pytest.approx(8.6, abs=0.01)
    assert result["trigger_margin"].value == pytest.approx(0.6, abs=0.05)
    assert result["release_height"].value == pytest.approx(KEY.key_dip - 5.0, abs=0.02)
    assert result["speed_at_trigger"].value == pytest.approx(4.0, rel=0.02)


def test_the_latency_bound_widens_the_place_of_a_note_pressed_faster() -> None:
    def u_at(speed: float) -> float:
        how = Press(strokes=1, speed=speed, noise=0.0)
        time, way, _ = pressed(KEY, how)
        events = midi((float(time[np.flatnonzero(way >= 8.6)[0]]), b"\x90\x3c\x20"))
        return result_of(a_recording(KEY, how, events=events))["trigger_position"].u or 0.0

    assert u_at(4.0) == pytest.approx(4.0 * 0.005 / np.sqrt(3.0), rel=0.1)
    assert u_at(2.0) < u_at(4.0)


def test_loaded_fast_and_holed_strokes_are_told() -> None:
    assert "preloaded" in codes(result_of(a_recording(how=Press(air_mm=-1.0))))
    assert "preloaded" in result_of(a_recording(how=Press(air_mm=-1.0)))["down_weight"].flags
    assert "fast" in codes(result_of(a_recording(how=Press(speed=20.0))))

    whole = a_recording().trace
    kept = np.delete(np.arange(len(whole)), np.arange(1000, 1100))
    holed = RawTrace(*(getattr(whole, name)[kept] for name in RawTrace.__slots__))
    assert "gap" in codes(result_of(replace(a_recording(), trace=holed)))


def test_a_key_that_stays_down_is_told_and_its_numbers_rest_on_the_good_stroke() -> None:
    """After the first stroke the key hangs 7 mm down; later strokes meet it there."""
    time, way, force = pressed(KEY, Press(strokes=3, noise=0.001))
    first_end = int(np.flatnonzero(time > time[-1] / 3 + 0.3)[0])
    hanging = (np.arange(len(way)) > first_end) & (way < 7.0)
    force = np.where(hanging, 0.0, force)
    result = result_of(KeyRecording(C4, a_trace(time, way, force), a_recording().events))

    assert "stays_down" in codes(result)
    assert result.strokes == 1
    assert result["down_weight"].value == pytest.approx(KEY.down, abs=0.002)


def test_a_travel_in_the_wrong_unit_is_told() -> None:
    time, way, force = pressed(KEY, Press(strokes=1))
    double = result_of(KeyRecording(C4, a_trace(time, 2.54 * way, force), a_recording().events))
    inches = result_of(KeyRecording(C4, a_trace(time, 25.4 * way, force), a_recording().events))

    assert "implausible_travel" in codes(double)
    assert "unit of displacement" in (inches["key_dip"].reason or "")


def test_displacement_that_counts_upward_is_refused_in_words() -> None:
    time, way, force = pressed(KEY, Press(strokes=1))
    result = result_of(KeyRecording(C4, a_trace(time, -way, force), a_recording().events))

    assert result.strokes == 0
    assert "must be positive" in (result["key_dip"].reason or "")


def test_a_gritty_key_is_told() -> None:
    time, way, force = pressed(KEY, Press())
    force = force + np.where((way > 0.0) & (way < 9.0), 0.02 * np.sin(2 * np.pi * way / 0.45), 0.0)
    result = result_of(KeyRecording(C4, a_trace(time, way, force), a_recording().events))

    assert "gritty" in codes(result)


def test_a_trace_without_a_press_gives_reasons_and_no_numbers() -> None:
    flat = a_trace(np.arange(100) * 0.001, np.zeros(100), np.zeros(100))
    result = analyse(a_header(), [KeyRecording(C4, flat, a_recording().events)], QUICK).keys[0]

    assert result.strokes == 0
    assert {measurement.value for measurement in result.measurements} == {None}
    assert all("moved 0.00 mm" in (measurement.reason or "") for measurement in result.measurements)


def test_no_input_is_changed() -> None:
    recording = a_recording()
    before = recording.trace.force_counts.copy()
    result_of(recording)

    assert np.array_equal(before, recording.trace.force_counts)


def test_strokes_that_end_short_of_the_bed_are_left_out_where_others_reach_it() -> None:
    whole = a_recording(SyntheticKey(), Press(strokes=3))
    short = a_recording(SyntheticKey(), Press(strokes=2, turn_newton=1.5))
    shift = int(whole.trace.tick_us[-1]) + 1000
    number = len(whole.trace) + np.arange(len(short.trace), dtype=np.int64)
    after = RawTrace(
        number, short.trace.tick_us + shift, short.trace.force_counts.copy(), short.trace.displacement_counts.copy()
    )
    both = join((whole, KeyRecording(C4, after, RawEvents.none())))
    (alone, mixed) = (analyse(a_header(), [recording], QUICK).keys[0] for recording in (whole, both))

    assert mixed.strokes == 3
    assert mixed["key_dip"].value == pytest.approx(alone["key_dip"].value, abs=0.005)
    assert any(finding.code == "strokes_left_out" for finding in mixed.findings)
