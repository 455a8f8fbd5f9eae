"""Writes a recording as one HDF5 file, whole or not at all, never over another. Places and names: `layout.py`.

How it works: the file is written beside its place and renamed. HDF5 2.0 can crash the program when the disk fills up
under it (seen with h5py 3.16), so before each key there must be room for the whole of it, uncompressed, and some more.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterable
from dataclasses import astuple, fields
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from recordings.calibration_file import content_id, record_as_text
from recordings.calibration_record import CalibrationRecord
from recordings.errors import CannotWrite, NoSuchFolder, RecordingExists
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
    Column,
)
from recordings.safe_files import whole_or_nothing
from recordings.types import Damage, DiaryEntry, Header, KeyRecording, LinearScale, Mark

BYTES_PER_SAMPLE, BYTES_PER_ENTRY, ROOM_FOR_THE_REST = 24, 200, 256 * 1024
"""Uncompressed, as in the columns of `layout.py`; and for groups, attributes and what is written on closing."""
SYSTEM_SAYS = "error message = '"
"""What precedes the system's own words in HDF5's long reports."""


def write_recording(
    path: Path,
    header: Header,
    keys: Iterable[KeyRecording],
    *,
    complete: bool = True,
    diary: tuple[DiaryEntry, ...] = (),
) -> None:
    """Write a recording; keys may be an iterator, so that only one key need be in memory at a time.

    Raises RecordingExists if there is a file of that name, NoSuchFolder if its folder does not exist, CannotWrite if
    the disk takes no more; then nothing of it is left behind.
    """
    refuse_to_overwrite(path)
    _refuse_without_room(path, ())
    with whole_or_nothing(path) as temporary:
        try:
            with h5py.File(temporary, "w", libver=("v110", "v110")) as file:
                entry = _group(file, ENTRY, "NXentry")
                file.attrs.update({"NX_class": "NXroot", "default": ENTRY})
                _write_header(entry, header, complete=complete)
                _write_calibration_record(entry[RECORD], header.calibration.record)
                _write_diary(entry[RECORD], diary)
                for recording in keys:
                    file.flush()
                    _refuse_without_room(path, (recording, *(aside.attempt for aside in recording.set_aside)))
                    _write_key(entry, recording, header)
        except (OSError, RuntimeError) as fault:  # what HDF5 raises when a write fails, in the block or on closing
            if SYSTEM_SAYS not in str(fault):
                raise
            raise CannotWrite(path, str(fault).split(SYSTEM_SAYS)[1].split("'")[0]) from fault


def _refuse_without_room(path: Path, attempts: tuple[KeyRecording, ...]) -> None:
    needed = ROOM_FOR_THE_REST + sum(
        BYTES_PER_SAMPLE * len(attempt.trace) + BYTES_PER_ENTRY * _entries(attempt) for attempt in attempts
    )
    if shutil.disk_usage(path.absolute().parent).free < needed:
        raise CannotWrite(path, f"No space left on device: it needs {needed / 1e6:.1f} MB more")


def _entries(attempt: KeyRecording) -> int:
    return len(attempt.events.tick_us) + len(attempt.marks) + len(attempt.damage)


def refuse_to_overwrite(path: Path) -> None:
    """Raise RecordingExists or NoSuchFolder before any work is done for a file that cannot be written."""
    if path.exists():
        raise RecordingExists(path)
    if not path.absolute().parent.is_dir():
        raise NoSuchFolder(path.parent)


def _group(parent: h5py.Group, name: str, nx_class: str) -> h5py.Group:
    group = parent.create_group(name)
    group.attrs["NX_class"] = nx_class
    return group


def _put(group: h5py.Group, **values: object) -> None:
    """Write each value that is known; what is None is left out, never written as a stand-in."""
    for name, value in values.items():
        if value is not None:
            group.create_dataset(name, data=value)


def _write_header(entry: h5py.Group, header: Header, *, complete: bool) -> None:
    run, rig = header.run, header.rig
    _put(
        entry,
        title=f"{run.instrument}: force and displacement of single keys",
        start_time=run.started_at.isoformat(),
        program_name="keyplumb",
        experiment_description=run.programme,
    )
    entry["program_name"].attrs["version"] = run.software_version
    _put(_group(entry, "user", "NXuser"), name=run.operator)
    sample = _group(entry, "sample", "NXsample")
    _put(sample, name=run.instrument, temperature=run.room_celsius)
    _units(sample, temperature="degC")
    _put(_group(entry, "instrument", "NXinstrument"), name=rig.model)
    record = _group(entry, RECORD, "NXcollection")
    _put(
        record,
        schema=SCHEMA,
        complete=np.uint8(complete),
        unit_serial=run.serial,
        note=run.note,
        room_humidity=run.room_humidity_percent,
        source_file=run.source_file,
        source_sha256=run.source_sha256,
        note_latency_bound=run.note_latency_bound_ms,
        serial_number=rig.serial_number,
        firmware=rig.firmware,
        sample_rate=rig.sample_rate_hz,
        compliance=header.calibration.compliance_mm_per_newton,
        force_delay=header.calibration.force_delay_us,
    )
    _units(
        record,
        sample_rate="Hz",
        compliance="mm/N",
        force_delay="us",
        room_humidity="percent",
        note_latency_bound="ms",
    )
    for name in ("force", "displacement"):
        _write_scale(_group(record, name, "NXcollection"), getattr(header.calibration, name))


def _units(group: h5py.Group, **units: str) -> None:
    for name, unit in units.items():
        if name in group:
            group[name].attrs["units"] = unit


def _write_scale(group: h5py.Group, scale: LinearScale) -> None:
    _put(group, **{field.name: getattr(scale, field.name) for field in fields(scale)})


def _write_key(entry: h5py.Group, recording: KeyRecording, header: Header) -> None:
    name = KEY_GROUP.format(number=recording.key.number)
    if "default" not in entry.attrs:
        entry.attrs["default"] = name
    _write_attempt(entry, name, recording, header)
    for number, aside in enumerate(recording.set_aside, 1):
        name = ASIDE_GROUP.format(number=recording.key.number, attempt=number)
        log = _write_attempt(entry, name, aside.attempt, header)
        _put(log, reason=aside.reason)


def _write_attempt(entry: h5py.Group, name: str, recording: KeyRecording, header: Header) -> h5py.Group:
    group = _group(entry, name, "NXdata")
    group.attrs.update({"signal": "force_counts", "axes": "displacement_counts", "key": recording.key.name})
    _write_columns(group, TRACE_COLUMNS, recording.trace)
    for channel, scale in (("force", header.calibration.force), ("displacement", header.calibration.displacement)):
        column = f"{channel}_counts"
        group[column].attrs["long_name"] = f"{channel} (counts)"
        _put(group, **{f"{column}_scaling_factor": 1.0 / scale.counts_per_unit})
        _put(group, **{f"{column}_offset": -scale.zero_counts / scale.counts_per_unit})
    log = _group(entry, LOG_OF.format(group=name), "NXcollection")
    _write_columns(_group(log, "events", "NXcollection"), EVENT_COLUMNS, recording.events)
    _write_rows(_group(log, "marks", "NXcollection"), Mark, recording.marks)
    _write_rows(_group(log, "damage", "NXcollection"), Damage, recording.damage)
    return log


def _write_calibration_record(group: h5py.Group, record: CalibrationRecord | None) -> None:
    if record is None:
        return
    text = record_as_text(record)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    _put(_group(group, CALIBRATION, "NXcollection"), id=content_id(record), text=text, sha256=sha256)


def _write_diary(record: h5py.Group, diary: tuple[DiaryEntry, ...]) -> None:
    group = _group(record, DIARY, "NXcollection")
    text = h5py.string_dtype()
    group.create_dataset("at", data=[entry.at.isoformat() for entry in diary], dtype=text)
    for column in ("kind", "text", "facts"):
        group.create_dataset(column, data=[getattr(entry, column) for entry in diary], dtype=text)


def _write_columns(group: h5py.Group, columns: tuple[Column, ...], holder: object) -> None:
    for column in columns:
        values = getattr(holder, column.name)
        how: dict[str, Any] = {"compression": "gzip", "compression_opts": 1, "shuffle": True} if len(values) else {}
        data = group.create_dataset(column.name, data=values, dtype=column.dtype, **how)
        data.attrs["meaning"] = column.meaning
        if column.unit:
            data.attrs["units"] = column.unit


def _write_rows(group: h5py.Group, row_type: type[Mark] | type[Damage], rows: tuple[Mark | Damage, ...]) -> None:
    by_column = zip(*map(astuple, rows), strict=True) if rows else [()] * len(fields(row_type))
    for field, values in zip(fields(row_type), by_column, strict=True):
        dtype = h5py.string_dtype() if field.type == "str" else np.dtype("int64")
        group.create_dataset(field.name, data=list(values), dtype=dtype)
