"""What the checks say about notes, on a synthetic key pressed twice whose notes are put where the test wants them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.pipeline import analyse, analyse_key
from processing.stages import Finding, KeyResult
from tests.builders import QUICK, SETTINGS, Press, SyntheticKey, a_calibration, a_header, a_recording, midi, pressed

KEY, HOW = SyntheticKey(), Press(strokes=2, rest_s=1.0)
ON, OFF = b"\x90\x3c\x40", b"\x80\x3c\x40"
TIME, WAY, _ = pressed(KEY, HOW)
ONS = TIME[np.flatnonzero((WAY[:-1] < 8.6) & (WAY[1:] >= 8.6))].tolist()
OFFS = TIME[np.flatnonzero((WAY[:-1] > 5.0) & (WAY[1:] <= 5.0))].tolist()


def found(*said: tuple[float, bytes]) -> dict[str, Finding]:
    events = midi(*sorted(said))
    result = analyse_key(a_recording(KEY, HOW, events=events), a_calibration(), QUICK)
    return {finding.code: finding for finding in result.findings if "note" in finding.code}


def test_notes_that_come_and_go_are_nothing_to_speak_of() -> None:
    assert found(*((on, ON) for on in ONS), *((off, OFF) for off in OFFS)) == {}


def test_a_last_note_that_never_ends_is_stuck() -> None:
    findings = found((ONS[0], ON), (OFFS[0], OFF), (ONS[1], ON))

    assert list(findings) == ["note_stuck"]
    assert findings["note_stuck"].odd
    assert "stroke 2" in findings["note_stuck"].template


def test_notes_that_never_end_are_stuck_not_doubled() -> None:
    findings = found(*((on, ON) for on in ONS))

    assert list(findings) == ["note_stuck"]
    assert "strokes 1 and 2" in findings["note_stuck"].template


def test_a_bounce_is_told_beside_a_stuck_note() -> None:
    findings = found((ONS[0], ON), (ONS[0] + 0.01, ON), (ONS[1], ON), (OFFS[1], OFF))

    assert "1 notes came twice" in findings["note_doubled"].template
    assert "stroke 1" in findings["note_stuck"].template


def test_a_note_of_another_key_is_stray_and_speaks_against_the_recording_not_the_key() -> None:
    notes = [(on, ON) for on in ONS] + [(off, OFF) for off in OFFS]
    findings = found(*notes, (ONS[0], b"\x90\x3d\x40"))

    assert list(findings) == ["stray_note"]
    assert not findings["stray_note"].odd


def test_bytes_that_cannot_be_read_are_told() -> None:
    findings = found(*((on, ON[1:]) for on in ONS))

    assert list(findings) == ["note_bytes_unread"]
    assert "4 MIDI bytes" in findings["note_bytes_unread"].template


def analysed_with(bound_ms: float | None) -> tuple[KeyResult, float]:
    header = a_header()
    header = replace(header, run=replace(header.run, note_latency_bound_ms=bound_ms))
    events = midi((ONS[0], ON), (OFFS[0], OFF), (ONS[1], ON), (OFFS[1], OFF))
    result = analyse(header, [a_recording(KEY, HOW, events=events)], QUICK)
    return result.keys[0], result.settings.feature.latency_bound_s


def test_a_recording_may_widen_the_latency_bound_and_the_results_say_so() -> None:
    """Late by up to 50 ms, and raw: u = 4 mm/s * 50 ms / sqrt(3) (GUM 4.3.7)."""
    result, bound_s = analysed_with(50.0)
    trigger = result["trigger_position"]

    assert bound_s == 0.05
    assert trigger.u == pytest.approx(4.0 * 0.05 / np.sqrt(3.0), rel=0.01)


@pytest.mark.parametrize("bound_ms", [None, 0.5])
def test_a_recording_cannot_narrow_the_latency_bound(bound_ms: float | None) -> None:
    assert analysed_with(bound_ms)[1] == SETTINGS.feature.latency_bound_s
