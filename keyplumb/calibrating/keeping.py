"""Where readings, picture and record of a calibration go, and under which names; nothing is written over."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recordings.calibration_file import write_calibration
from recordings.calibration_folder import choose_calibration
from recordings.calibration_readings import CalibrationReadings, write_readings
from recordings.calibration_record import CalibrationRecord, RigIdentity
from recordings.calibration_succession import succeed
from recordings.types import RigInfo

if TYPE_CHECKING:
    from processing.calibration.derive import Part


@dataclass(frozen=True, slots=True)
class Kept:
    """What was written: the record, its id, and what it took over, in words."""

    path: Path
    record: CalibrationRecord
    id: str
    told: str


def stem_of(rig: RigIdentity, made_at: datetime, kind: str) -> str:
    """Return the common name of a calibration's files, without folder and ending."""
    who = re.sub(r"[^A-Za-z0-9_.-]+", "_", f"{rig.model}-{rig.serial_number}")
    return f"{who}-{made_at:%Y%m%dT%H%M%S}-{kind}"


def free_path(folder: Path, stem: str, ending: str) -> Path:
    """Return a path that is not taken: with a number behind the name if need be."""
    return next(path for path in _candidates(folder, stem, ending) if not path.exists())


def _candidates(folder: Path, stem: str, ending: str) -> Iterator[Path]:
    yield folder / f"{stem}{ending}"
    number = 2
    while True:
        yield folder / f"{stem}-{number}{ending}"
        number += 1


def keep_readings(folder: Path, readings: CalibrationReadings) -> Path:
    """Write readings and return where. Raises CannotWrite."""
    folder.mkdir(parents=True, exist_ok=True)
    head = readings.head
    path = free_path(folder, f"{stem_of(head.rig, head.made_at, head.kind)}-readings", ".csv")
    write_readings(path, readings)
    return path


def keep_record(folder: Path, new: CalibrationRecord, kind: str) -> Kept:
    """Write a record, with what it takes over from the newest one of its rig, and return it. Raises CannotWrite."""
    folder.mkdir(parents=True, exist_ok=True)
    rig = RigInfo(model=new.rig.model, serial_number=new.rig.serial_number, firmware=None, sample_rate_hz=None)
    after = succeed(new, choose_calibration(folder, rig, new.made_at).record)
    path = free_path(folder, stem_of(new.rig, new.made_at, kind), ".json")
    return Kept(path, after.record, write_calibration(path, after.record), after.told)


def new_record(
    readings: CalibrationReadings, part: Part, *, made_at: datetime, valid_days: float, version: str, note: str
) -> CalibrationRecord:
    """Return a record with one part. made_at: of the record; how long it is good counts from the readings.

    Raises ValueError if the readings are older than it would be valid.
    """
    head = readings.head
    named: dict[str, Any] = {head.kind: part}
    return CalibrationRecord(
        rig=head.rig,
        made_at=made_at,
        valid_until=head.made_at + timedelta(days=valid_days),
        software_version=version,
        operator=head.operator,
        note=note,
        room=head.room,
        environment=head.environment,
        **named,
    )
