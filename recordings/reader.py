"""Reads a recording, key by key, from the HDF5 file that `writer.py` writes. Places and names: `layout.py`."""

from __future__ import annotations

import hashlib
from collections.abc import Container, Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import h5py

from recordings.calibration_file import record_from_text
from recordings.calibration_record import CalibrationRecord
from recordings.errors import MalformedRecording, NoSuchFile, NotARecording, NotYetARecording
from recordings.growing import PARTIAL, partial_folder
from recordings.keys import Key
from recordings.layout import (
    ASIDE_GROUP,
    CALIBRATION,
    DIARY,
    ENTRY,
    EVENT_COLUMNS,
    KEY_GROUP,
    LOG_OF,
    RECORD,
    SCHEMA,
    TRACE_COLUMNS,
)
from recordings.types import (
    Calibration,
    Damage,
    DiaryEntry,
    Header,
    KeyRecording,
    LinearScale,
    Mark,
    RawEvents,
    RawTrace,
    Recording,
    RigInfo,
    RunInfo,
    SetAside,
)

HDF5_SIGNATURE = b"\x89HDF\r\n\x1a\n"


class RecordingFile:
    """An open recording: its header at once, its keys on demand."""

    def __init__(self, path: Path, file: h5py.File) -> None:
        self.path = path
        self._entry = file[ENTRY]
        self.complete = bool(self._entry[RECORD]["complete"][()])
        self.header = _read_header(self._entry, path)
        numbers = sorted(int(name[4:]) for name in self._entry if name[:4] == "key_" and name[4:].isdecimal())
        self.keys = tuple(Key(number) for number in numbers)
        self.diary = _read_diary(self._entry[RECORD])

    def read_key(self, key: Key) -> KeyRecording:
        """Return one key's recording, attempts that were set aside included.

        Raises MalformedRecording if its parts do not fit together.
        """
        try:
            return replace(
                _read_attempt(self._entry, KEY_GROUP.format(number=key.number), key), set_aside=self._asides(key)
            )
        except (KeyError, OSError) as fault:
            raise MalformedRecording(f"{self.path}, key {key.name}", f"cannot be read ({fault})") from fault

    def sample_count(self, key: Key) -> int:
        """Return how many samples of a key are in the file, those set aside left out, without reading them."""
        return int(self._entry[KEY_GROUP.format(number=key.number)][TRACE_COLUMNS[0].name].shape[0])

    def _asides(self, key: Key) -> tuple[SetAside, ...]:
        asides: list[SetAside] = []
        while (name := ASIDE_GROUP.format(number=key.number, attempt=len(asides) + 1)) in self._entry:
            reason = _value(self._entry[LOG_OF.format(group=name)], "reason")
            asides.append(SetAside(reason, _read_attempt(self._entry, name, key)))
        return tuple(asides)

    def held_of(self, keys: Container[Key] | None) -> tuple[Key, ...]:
        """Return which of some keys it holds, A0 first; None: all. Raises MalformedRecording if it holds none."""
        held = tuple(key for key in self.keys if keys is None or key in keys)
        if not held:
            raise MalformedRecording(str(self.path), "holds none of the keys asked for; see `keyplumb info`")
        return held

    def read_keys(self) -> Iterator[KeyRecording]:
        """Yield every key's recording, A0 first; only one is in memory at a time."""
        return map(self.read_key, self.keys)


@contextmanager
def open_recording(path: Path) -> Iterator[RecordingFile]:
    """Open a recording for reading.

    Raises NoSuchFile, NotYetARecording, NotARecording (no HDF5, not ours, or written by a newer keyplumb).
    """
    if path.is_dir() and path.suffix == PARTIAL:
        raise NotYetARecording(path.with_suffix(""), path)
    if not path.exists() and partial_folder(path).is_dir():
        raise NotYetARecording(path, partial_folder(path))
    if path.is_dir():
        raise NotARecording(path, "it is a folder")
    if not path.is_file():
        raise NoSuchFile(path)
    try:
        file = h5py.File(path, "r")
    except OSError as fault:
        if path.read_bytes()[: len(HDF5_SIGNATURE)] == HDF5_SIGNATURE:
            raise NotARecording(path, "it is damaged or was cut short; copy it anew from where it came") from fault
        raise NotARecording(path, "it is no HDF5 file; a table of samples is read with `keyplumb import`") from fault
    with file:
        schema = _value(file, f"{ENTRY}/{RECORD}/schema")
        if schema != SCHEMA:
            raise NotARecording(path, f"its schema is {schema!r}; this keyplumb reads {SCHEMA!r}")
        try:
            opened = RecordingFile(path, file)
        except (KeyError, ValueError) as fault:
            raise MalformedRecording(str(path), f"its header cannot be read ({fault})") from fault
        yield opened


def read_recording(path: Path) -> Recording:
    """Return a whole recording in memory. Raises as open_recording."""
    with open_recording(path) as opened:
        return Recording(opened.header, tuple(opened.read_keys()), opened.complete, opened.diary)


def _value(group: h5py.Group, name: str) -> Any:
    """Return a scalar as plain Python, None if it is not in the file."""
    if name not in group:
        return None
    value = group[name][()]
    return value.decode() if isinstance(value, bytes) else value.item()


def _read_header(entry: h5py.Group, path: Path) -> Header:
    record, sample = entry[RECORD], entry["sample"]
    run = RunInfo(
        instrument=_value(sample, "name"),
        started_at=datetime.fromisoformat(_value(entry, "start_time")),
        software_version=str(entry["program_name"].attrs["version"]),
        programme=_value(entry, "experiment_description"),
        serial=_value(record, "unit_serial"),
        operator=_value(entry["user"], "name"),
        room_celsius=_value(sample, "temperature"),
        room_humidity_percent=_value(record, "room_humidity"),
        note=_value(record, "note"),
        source_file=_value(record, "source_file"),
        source_sha256=_value(record, "source_sha256"),
        note_latency_bound_ms=_value(record, "note_latency_bound"),
    )
    about = RigInfo(
        model=_value(entry["instrument"], "name"),
        serial_number=_value(record, "serial_number"),
        firmware=_value(record, "firmware"),
        sample_rate_hz=_value(record, "sample_rate"),
    )
    calibration = Calibration(
        force=_read_scale(record["force"]),
        displacement=_read_scale(record["displacement"]),
        compliance_mm_per_newton=_value(record, "compliance"),
        force_delay_us=_value(record, "force_delay"),
        record=_read_calibration_record(record, path),
    )
    return Header(run=run, rig=about, calibration=calibration)


def _read_calibration_record(group: h5py.Group, path: Path) -> CalibrationRecord | None:
    if CALIBRATION not in group:
        return None
    place = f"{path}, its calibration record"
    text = _value(group[CALIBRATION], "text")
    if hashlib.sha256(text.encode()).hexdigest() != _value(group[CALIBRATION], "sha256"):
        raise MalformedRecording(place, "it does not fit its SHA-256: the file was damaged or changed")
    return record_from_text(text, place)


def _read_scale(group: h5py.Group) -> LinearScale:
    return LinearScale(**{field.name: _value(group, field.name) for field in fields(LinearScale)})


def _read_diary(record: h5py.Group) -> tuple[DiaryEntry, ...]:
    if DIARY not in record:
        return ()
    columns = (record[DIARY][name].asstr()[()].tolist() for name in ("at", "kind", "text", "facts"))
    return tuple(DiaryEntry(datetime.fromisoformat(at), *rest) for at, *rest in zip(*columns, strict=True))


def _read_attempt(entry: h5py.Group, name: str, key: Key) -> KeyRecording:
    group, log = entry[name], entry[LOG_OF.format(group=name)]
    return KeyRecording(
        key,
        RawTrace(*(group[column.name][()] for column in TRACE_COLUMNS)),
        RawEvents(*(log["events"][column.name][()] for column in EVENT_COLUMNS)),
        tuple(Mark(*row) for row in _rows(log["marks"], Mark)),
        tuple(Damage(*row) for row in _rows(log["damage"], Damage)),
    )


def _rows(group: h5py.Group, row_type: type[Mark] | type[Damage]) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of a table; a column that older files do not have is empty text."""
    columns: list[list[Any]] = []
    for field in fields(row_type):
        data = group.get(field.name)
        if data is None:
            columns.append([""] * len(columns[0]))
        elif not data.size:  # most tables of most keys: asking h5py for nothing takes as long as for something
            columns.append([])
        else:
            columns.append(data.asstr()[()].tolist() if field.type == "str" else data[()].tolist())
    return zip(*columns, strict=True)
