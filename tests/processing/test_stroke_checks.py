"""Checks of strokes and keys: a press that breaks the law and one that does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.pipeline import analyse_key
from processing.quality.key_evidence import KeyEvidence
from processing.quality.stroke_checks import check_the_key_sets_out_freely, check_the_note_is_prompt
from processing.stages import Finding, Measurement
from recordings.types import KeyRecording, RawEvents
from tests.builders import C4, QUICK, Array, Press, SyntheticKey, a_calibration, a_trace, pressed

KEY, HOW = SyntheticKey(), Press()
CODES = ("uneven", "clipped", "drift", "sticky", "late")


def found(time: Array, way: Array, force: Array) -> dict[str, Finding]:
    result = analyse_key(KeyRecording(C4, a_trace(time, way, force), RawEvents.none()), a_calibration(), QUICK)
    return {finding.code: finding for finding in result.findings if finding.code in CODES}


def test_a_plain_recording_has_nothing_to_speak_of() -> None:
    assert found(*pressed(KEY, HOW)) == {}


def test_a_stroke_with_a_jerk_is_uneven() -> None:
    """From 4 mm/s to 40 mm/s over half a millimetre of the first stroke, by taking nine samples of ten away."""
    _, way, force = pressed(KEY, HOW)
    first = np.arange(len(way)) < np.argmax(way)
    jerk = first & (way > 4.0) & (way < 4.6) & (np.arange(len(way)) % 10 != 0)
    kept = ~jerk
    told = found(np.arange(kept.sum()) / HOW.rate_hz, way[kept], force[kept])

    assert list(told) == ["uneven"]
    assert "stroke 1" in told["uneven"].template
    assert told["uneven"].numbers[0][0] == pytest.approx(40.0, rel=0.2)
    assert not told["uneven"].odd


def test_a_force_that_ends_at_its_range_is_cut_off() -> None:
    time, way, force = pressed(KEY, replace(HOW, turn_newton=5.0))
    told = found(time, way, np.minimum(force, 3.6))

    assert list(told) == ["clipped"]
    assert told["clipped"].numbers[0][0] == pytest.approx(3.6, abs=0.01)


def test_a_zero_that_runs_away_is_drift() -> None:
    time, way, force = pressed(KEY, HOW)
    told = found(time, way, force + 0.004 * time)

    assert list(told) == ["drift"]
    assert told["drift"].numbers[0][0] == pytest.approx(0.004 * time[-1] * 2.0 / 3.0, rel=0.15)


@pytest.mark.parametrize(("newton", "over", "sticks"), [(0.25, 0.02, True), (0.11, 0.02, False), (0.03, 0.001, False)])
def test_a_key_sticks_if_setting_it_moving_surely_takes_much_more(newton: float, over: float, sticks: bool) -> None:
    told = check_the_key_sets_out_freely(evidence("breakaway", "N", newton, over))

    assert (told is not None) == sticks
    assert told is None or (told.code, told.odd) == ("sticky", True)


@pytest.mark.parametrize(("latency_ms", "over", "late"), [(9.0, 0.5, True), (5.2, 0.5, False), (3.0, 0.1, False)])
def test_a_note_is_late_if_it_is_surely_told_beyond_the_bound(latency_ms: float, over: float, late: bool) -> None:
    told = check_the_note_is_prompt(evidence("note_latency", "ms", latency_ms, over))

    assert (told is not None) == late
    assert told is None or told.numbers == ((latency_ms, "ms"), (5.0, "ms"))


def evidence(name: str, unit: str, value: float, over: float) -> KeyEvidence:
    """What the two checks look at, and nothing else: a look at anything more would fail."""
    told = Measurement(name=name, unit=unit, value=value, u=over / 2.0, coverage_factor=2.0)
    nothing: dict[str, object] = dict.fromkeys(
        ("trace", "strokes", "used", "curve", "marks", "notes", "stroke_notes"), None
    )
    return KeyEvidence(**nothing, settings=QUICK, numbers={name: told})  # type: ignore[arg-type]
