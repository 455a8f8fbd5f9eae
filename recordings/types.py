"""A recording in memory: integer counts and ticks as they came, and what is needed to explain them.

How it works: small frozen dataclasses over read-only arrays. Nothing here is in newtons or millimetres; the scales
that make them so lie beside the counts (`Calibration`) and are applied in `processing/`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from recordings.calibration_record import CalibrationRecord
from recordings.errors import MalformedRecording
from recordings.keys import Key

Int64Array = NDArray[np.int64]
Int32Array = NDArray[np.int32]
ByteArray = NDArray[np.uint8]

MIDI_IN, CONTACT, STRIKE, FOOT_SWITCH, HOST_MIDI = 0, 1, 2, 3, 4
"""Sources of an event byte, as on the wire; HOST_MIDI came in at the host and never was on the rig's wire."""


@dataclass(frozen=True, slots=True, eq=False)
class RawTrace:
    """Samples in integer counts, oldest first. All arrays (N,), read-only; takes ownership of them."""

    sample_number: Int64Array
    tick_us: Int64Array
    """The rig's clock, unwrapped to 64 bits."""
    force_counts: Int32Array
    displacement_counts: Int32Array

    def __post_init__(self) -> None:
        _equal_and_read_only("trace", self.sample_number, self.tick_us, self.force_counts, self.displacement_counts)

    @staticmethod
    def none() -> RawTrace:
        """Return a trace without samples."""
        return _NO_TRACE

    @staticmethod
    def joined(pieces: Sequence[RawTrace]) -> RawTrace:
        """Return one trace of traces recorded one after the other; of none, an empty one."""
        if not pieces:
            return _NO_TRACE
        return RawTrace(
            np.concatenate([piece.sample_number for piece in pieces]),
            np.concatenate([piece.tick_us for piece in pieces]),
            np.concatenate([piece.force_counts for piece in pieces]),
            np.concatenate([piece.displacement_counts for piece in pieces]),
        )

    def part(self, where: slice | NDArray[np.bool_]) -> RawTrace:
        """Return the samples of a slice, or where a mask (N,) is true."""
        return RawTrace(
            self.sample_number[where], self.tick_us[where], self.force_counts[where], self.displacement_counts[where]
        )

    def __len__(self) -> int:
        return len(self.tick_us)


@dataclass(frozen=True, slots=True, eq=False)
class RawEvents:
    """Bytes of the note inputs, oldest first. All arrays (M,), read-only. A contact edge is the byte 1 or 0."""

    tick_us: Int64Array
    source: ByteArray
    byte: ByteArray

    def __post_init__(self) -> None:
        _equal_and_read_only("events", self.tick_us, self.source, self.byte)

    @staticmethod
    def none() -> RawEvents:
        """Return an empty log of events."""
        return _NO_EVENTS


def _equal_and_read_only(what: str, *arrays: NDArray[np.generic]) -> None:
    if len({len(array) for array in arrays}) > 1:
        raise MalformedRecording(what, f"columns of unequal lengths {[len(array) for array in arrays]}")
    for array in arrays:
        array.setflags(write=False)


_NO_TRACE = RawTrace(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0, np.int32))
_NO_EVENTS = RawEvents(np.empty(0, np.int64), np.empty(0, np.uint8), np.empty(0, np.uint8))


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch of a key's trace that the stroke programme has named, by sample numbers, last one included."""

    name: str
    first_sample: int
    last_sample: int
    step: str = ""
    """What kind of step it belongs to: `rest`, `strokes`, one of DYNAMIC_STEPS; empty: none, or not told."""


DYNAMIC_STEPS = ("speed ladder", "partial lifts", "repetition ladder")
"""Steps whose presses say nothing of the quasi-static curve."""


@dataclass(frozen=True, slots=True)
class Damage:
    """Something that went wrong on the cable and how much of it; nothing was repaired."""

    tick_us: int
    kind: str
    """`damaged_bytes`, `lost_frames`, `lost_samples`, `lost_events`, `repeated_or_late`, `rig_restarted`,
    `midi_port_lost`, `midi_without_clock`."""
    amount: int
    detail: str


@dataclass(frozen=True, slots=True)
class KeyRecording:
    """One key: its samples with the rests between the strokes, its events, marks and damage."""

    key: Key
    trace: RawTrace
    events: RawEvents
    marks: tuple[Mark, ...] = ()
    damage: tuple[Damage, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    """Earlier attempts at this key, oldest first: kept, not measured."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """An attempt at a key that was begun again, and why: the cable was pulled, the person wanted to."""

    reason: str
    attempt: KeyRecording


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """Something that happened while a recording was made, by the host's clock."""

    at: datetime
    """UTC, with its time zone."""
    kind: str
    """`plan`, `check`, `begun`, `resumed`, `cable`, `clock`, `finished`, ..."""
    text: str
    facts: str = ""
    """The same in JSON, for programs; empty: there is nothing more to say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearScale:
    """physical value = (counts - zero_counts) / counts_per_unit."""

    counts_per_unit: float
    zero_counts: int
    unit: str
    calibrated_on: str | None
    """ISO date; None: never calibrated, the scale is only stated."""
    reference: str
    """Where the scale comes from; with the date enough to find the certificate."""

    @overload
    def physical(self, counts: float) -> float: ...
    @overload
    def physical(self, counts: NDArray[np.integer[Any] | np.floating[Any]]) -> NDArray[np.float64]: ...
    def physical(self, counts: float | NDArray[Any]) -> float | NDArray[np.float64]:
        """Return counts as physical values, in the scale's unit; in floating point throughout, so nothing overflows."""
        values: float | NDArray[np.float64] = (
            np.subtract(counts, self.zero_counts, dtype=np.float64) / self.counts_per_unit
        )
        return values


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Everything that turns counts into newtons and millimetres at the key."""

    force: LinearScale
    displacement: LinearScale
    compliance_mm_per_newton: float
    """How far the rig itself gives under load."""
    force_delay_us: int
    """The force shown was true this long before its tick."""
    record: CalibrationRecord | None = None
    """What was found with masses and gauge blocks; its parts go before what the rig states of itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RigInfo:
    """The rig as it introduced itself; None in a field: an imported file does not know."""

    model: str | None
    serial_number: str | None
    firmware: str | None
    sample_rate_hz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunInfo:
    """What was recorded, when, by whom, with what."""

    instrument: str
    """The keyboard under test: its name, or the model if the unit has a serial number."""
    started_at: datetime
    """UTC, with its time zone."""
    software_version: str
    programme: str
    """The stroke programme's name, or how the file came in."""
    serial: str | None = None
    """The unit's own number, e.g. "moss-001"; None: it has none, or nobody has said."""
    operator: str | None = None
    room_celsius: float | None = None
    room_humidity_percent: float | None = None
    note: str | None = None
    source_file: str | None = None
    """An imported table: its name."""
    source_sha256: str | None = None
    note_latency_bound_ms: float | None = None
    """How late the stamp of a note may be by the way in which notes were recorded; None: nobody has said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """All of a recording but its samples."""

    run: RunInfo
    rig: RigInfo
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording in memory; keys in the order in which they were recorded."""

    header: Header
    keys: tuple[KeyRecording, ...]
    complete: bool
    """False: the recording was interrupted."""
    diary: tuple[DiaryEntry, ...] = ()


def join(pieces: tuple[KeyRecording, ...]) -> KeyRecording:
    """Return one recording of a key from pieces recorded one after the other."""
    if len({piece.key for piece in pieces}) != 1:
        raise MalformedRecording("pieces", f"they belong to keys {sorted({piece.key.name for piece in pieces})}")
    events = [piece.events for piece in pieces]
    return KeyRecording(
        pieces[0].key,
        RawTrace.joined([piece.trace for piece in pieces]),
        RawEvents(
            np.concatenate([event.tick_us for event in events]),
            np.concatenate([event.source for event in events]),
            np.concatenate([event.byte for event in events]),
        ),
        tuple(mark for piece in pieces for mark in piece.marks),
        tuple(damage for piece in pieces for damage in piece.damage),
        tuple(aside for piece in pieces for aside in piece.set_aside),
    )
