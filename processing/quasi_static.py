"""The part of a key's recording that its static numbers rest on, where a programme has also made other presses.

How it works: the marks say which stretches are fast strokes, partial lifts or repetitions. Between them lie stretches
of slow strokes and rests; of these the one with the most strokes is taken whole, since a trace with a hole would be
one with lost samples. A recording without such marks is taken as it is.
"""

from __future__ import annotations

import numpy as np

from recordings.midi import FIRST_STATUS, FIRST_SYSTEM
from recordings.types import DYNAMIC_STEPS, KeyRecording, Mark, RawEvents, RawTrace


def quasi_static_part(recording: KeyRecording) -> KeyRecording:
    """Return the longest part of a recording without a dynamic step in it, events of that time with it."""
    dynamic = [mark for mark in recording.marks if mark.step in DYNAMIC_STEPS]
    if not dynamic or not len(recording.trace):
        return recording
    numbers = recording.trace.sample_number
    begins = [int(numbers[0]), *(mark.last_sample + 1 for mark in dynamic)]
    ends = [*(mark.first_sample - 1 for mark in dynamic), int(numbers[-1])]
    first, last = max(zip(begins, ends, strict=True), key=lambda part: _strokes_in(recording.marks, *part))
    inside = (numbers >= first) & (numbers <= last)
    part = recording.trace.part(inside)
    marks = tuple(mark for mark in recording.marks if first <= mark.first_sample and mark.last_sample <= last)
    return KeyRecording(recording.key, part, _events_of(recording.events, part), marks, recording.damage)


def _strokes_in(marks: tuple[Mark, ...], first: int, last: int) -> tuple[int, int]:
    inside = [mark for mark in marks if first <= mark.first_sample and mark.last_sample <= last]
    return sum(mark.step == "strokes" for mark in inside), last - first


def _events_of(events: RawEvents, trace: RawTrace) -> RawEvents:
    """Return the events during a trace, and the status bytes before it: under running status they still count."""
    if not len(trace):
        return RawEvents.none()
    during = (events.tick_us >= trace.tick_us[0]) & (events.tick_us <= trace.tick_us[-1])
    is_status = (events.byte >= FIRST_STATUS) & (events.byte < FIRST_SYSTEM)
    kept = during | ((events.tick_us < trace.tick_us[0]) & is_status)
    return RawEvents(*(np.array(column[kept]) for column in (events.tick_us, events.source, events.byte)))
