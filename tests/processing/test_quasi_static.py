"""Fast strokes, partial lifts and repetitions of a programme do not touch the numbers of the slow strokes beside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.pipeline import analyse_key
from processing.quasi_static import quasi_static_part
from recordings.midi import MidiParser
from recordings.types import DYNAMIC_STEPS, KeyRecording, Mark, RawEvents, RawTrace, join
from tests.builders import C4, QUICK, Press, SyntheticKey, a_header, a_recording, midi

CALIBRATION = a_header().calibration


def presses(step: str, how: Press, *, first_sample: int) -> KeyRecording:
    """One stretch of presses, marked with its step, its samples numbered and stamped from here."""
    made = a_recording(SyntheticKey(), how)
    numbers = first_sample + np.arange(len(made.trace), dtype=np.int64)
    period_us = int(made.trace.tick_us[1] - made.trace.tick_us[0])
    trace = RawTrace(
        numbers, period_us * numbers, made.trace.force_counts.copy(), made.trace.displacement_counts.copy()
    )
    return KeyRecording(C4, trace, RawEvents.none(), (Mark(step, int(numbers[0]), int(numbers[-1]), step),))


def one_after_the_other(*stretches: tuple[str, Press]) -> KeyRecording:
    made: list[KeyRecording] = []
    for step, how in stretches:
        made.append(presses(step, how, first_sample=sum(len(piece.trace) for piece in made)))
    return join(tuple(made))


SLOW, FAST = Press(strokes=3), Press(strokes=2, speed=40.0)


@pytest.mark.parametrize("step", DYNAMIC_STEPS)
@pytest.mark.parametrize(("before", "after"), [(True, False), (False, True), (True, True)])
def test_numbers_are_those_of_the_slow_strokes_alone(step: str, before: bool, after: bool) -> None:
    mixed = one_after_the_other(*before * [(step, FAST)], ("strokes", SLOW), *after * [(step, FAST)])
    alone = one_after_the_other(("strokes", SLOW))
    expected, found = (analyse_key(recording, CALIBRATION, QUICK) for recording in (alone, mixed))

    assert found.strokes == 3
    for name in ("down_weight", "key_dip", "letoff_peak_position", "friction"):
        assert found[name].value == pytest.approx(expected[name].value, rel=2e-3)
    assert [finding.code for finding in found.findings] == [finding.code for finding in expected.findings]


def test_a_recording_without_marks_is_taken_as_it_is() -> None:
    recording = a_recording(SyntheticKey(), SLOW)

    assert quasi_static_part(recording) is recording


def test_status_bytes_from_before_are_kept_and_notes_are_not() -> None:
    mixed = one_after_the_other(("repetition ladder", FAST), ("strokes", SLOW))
    begins_s = float(mixed.trace.tick_us[mixed.marks[1].first_sample]) * 1e-6
    notes = midi((0.5, b"\x90\x3c\x40\x3c\x00"), (begins_s + 1.0, b"\x3c\x50"))
    part = quasi_static_part(replace(mixed, events=notes))
    read = MidiParser().feed(part.events.tick_us.tolist(), part.events.byte.tolist())

    assert [(note.note, note.velocity) for note in read] == [(60, 80)]
