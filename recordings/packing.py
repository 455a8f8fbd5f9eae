"""What stands in the records of a journal: pieces of a key as bytes, and back.

How it works: samples and events are packed rows, little-endian; marks and damage are JSON. Samples that follow each
other without a gap, as they nearly always do, are a run: the first number and tick once, then half as many bytes a
sample. The first byte of every record's payload is the key's number (0: of no key); `partial.py` puts it on.
"""

from __future__ import annotations

import json
from struct import Struct

import numpy as np

from recordings.keys import Key
from recordings.types import Damage, KeyRecording, Mark, RawEvents, RawTrace

KIND_SAMPLES, KIND_EVENTS, KIND_DAMAGE, KIND_MARK = 1, 2, 3, 4
KIND_ASIDE, KIND_DONE, KIND_DIARY, KIND_FINISHED = 5, 6, 7, 8
KIND_RUN = 9
NO_KEY = 0
"""The number before a payload that is about no key."""
KINDS_WITH_SAMPLES = (KIND_SAMPLES, KIND_RUN)
PIECES = (KIND_SAMPLES, KIND_RUN, KIND_EVENTS, KIND_MARK, KIND_DAMAGE)
"""What `unpacked` understands."""
_SAMPLE = np.dtype([("number", "<i8"), ("tick_us", "<i8"), ("force", "<i4"), ("displacement", "<i4")])
_RUN_HEAD = Struct("<qq")
_RUN = np.dtype([("tick_us", "<u4"), ("force", "<i4"), ("displacement", "<i4")])
"""tick_us: since the first of the run."""
_EVENT = np.dtype([("tick_us", "<i8"), ("source", "u1"), ("byte", "u1")])


def packed_trace(trace: RawTrace) -> tuple[int, bytes]:
    """Return the kind of record for some samples, and its payload: 12 bytes a sample in a run, 24 otherwise."""
    number, tick_us = trace.sample_number, trace.tick_us
    since_us = tick_us - tick_us[0]
    is_run = number[-1] - number[0] == len(number) - 1 and since_us.min() >= 0 and since_us.max() < 1 << 32
    if not is_run:
        rows = np.empty(len(trace), _SAMPLE)
        rows["number"], rows["tick_us"] = number, tick_us
        rows["force"], rows["displacement"] = trace.force_counts, trace.displacement_counts
        return KIND_SAMPLES, rows.tobytes()
    rows = np.empty(len(trace), _RUN)
    rows["tick_us"], rows["force"], rows["displacement"] = since_us, trace.force_counts, trace.displacement_counts
    return KIND_RUN, _RUN_HEAD.pack(int(number[0]), int(tick_us[0])) + rows.tobytes()


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
    if kind == KIND_RUN:
        trace = _unpacked_run(payload)
    if kind == KIND_EVENTS:
        rows = np.frombuffer(payload, _EVENT)
        events = RawEvents(*(rows[name].copy() for name in _EVENT.names or ()))
    marks = (Mark(*json.loads(payload)),) if kind == KIND_MARK else ()
    damage = (Damage(*json.loads(payload)),) if kind == KIND_DAMAGE else ()
    return KeyRecording(key, trace, events, marks, damage)


def _unpacked_run(payload: bytes) -> RawTrace:
    first_number, first_tick_us = _RUN_HEAD.unpack_from(payload)
    rows = np.frombuffer(payload, _RUN, offset=_RUN_HEAD.size)
    return RawTrace(
        first_number + np.arange(len(rows), dtype=np.int64),
        first_tick_us + rows["tick_us"].astype(np.int64),
        rows["force"].copy(),
        rows["displacement"].copy(),
    )
