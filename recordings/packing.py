"""What stands in the records of a journal: pieces of a key as bytes, and back.

How it works: samples and events are packed rows, little-endian; marks and damage are JSON. The first byte of every
record's payload is the key's number (0: of no key); it is put on and taken off by `partial.py`.
"""

from __future__ import annotations

import json

import numpy as np

from recordings.keys import Key
from recordings.types import Damage, KeyRecording, Mark, RawEvents, RawTrace

KIND_SAMPLES, KIND_EVENTS, KIND_DAMAGE, KIND_MARK = 1, 2, 3, 4
KIND_ASIDE, KIND_DONE, KIND_DIARY, KIND_FINISHED = 5, 6, 7, 8
_SAMPLE = np.dtype([("number", "<i8"), ("tick_us", "<i8"), ("force", "<i4"), ("displacement", "<i4")])
_EVENT = np.dtype([("tick_us", "<i8"), ("source", "u1"), ("byte", "u1")])


def packed_trace(trace: RawTrace) -> bytes:
    """Return samples as rows of 24 bytes."""
    rows = np.empty(len(trace), _SAMPLE)
    rows["number"], rows["tick_us"] = trace.sample_number, trace.tick_us
    rows["force"], rows["displacement"] = trace.force_counts, trace.displacement_counts
    return rows.tobytes()


def packed_events(events: RawEvents) -> bytes:
    """Return events as rows of 10 bytes."""
    rows = np.empty(len(events.tick_us), _EVENT)
    rows["tick_us"], rows["source"], rows["byte"] = events.tick_us, events.source, events.byte
    return rows.tobytes()


def unpacked(kind: int, key: Key, payload: bytes) -> KeyRecording:
    """Return the piece of a key in a record of samples, events, a mark or damage."""
    trace, events = RawTrace.none(), RawEvents.none()
    if kind == KIND_SAMPLES:
        rows = np.frombuffer(payload, _SAMPLE)
        trace = RawTrace(*(rows[name].copy() for name in _SAMPLE.names or ()))
    if kind == KIND_EVENTS:
        rows = np.frombuffer(payload, _EVENT)
        events = RawEvents(*(rows[name].copy() for name in _EVENT.names or ()))
    marks = (Mark(*json.loads(payload)),) if kind == KIND_MARK else ()
    damage = (Damage(*json.loads(payload)),) if kind == KIND_DAMAGE else ()
    return KeyRecording(key, trace, events, marks, damage)
