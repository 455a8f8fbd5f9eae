"""Which record of a folder a new recording should rest on: the newest one of its rig that is valid.

How it works: every `.json` file of the folder is read. Records of other rigs and files that cannot be read are named
and left out; a record that another one of the same rig supersedes is out too. If none of the rig's records is valid
any more the newest is taken all the same: an old calibration beats a stated scale, and its numbers say `expired`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from recordings.calibration_file import content_id, read_calibration
from recordings.calibration_record import CalibrationRecord
from recordings.errors import MalformedCalibration
from recordings.types import RigInfo


@dataclass(frozen=True, slots=True)
class ChosenCalibration:
    """The record for a new recording, and what is to be told about the choice."""

    record: CalibrationRecord | None
    told: str


def choose_calibration(folder: Path, rig: RigInfo, at: datetime) -> ChosenCalibration:
    """Return the newest record of a rig that is valid at a moment; the folder need not be there."""
    found: dict[Path, CalibrationRecord] = {}
    remarks: list[str] = []
    for path in sorted(folder.glob("*.json")):
        try:
            record = read_calibration(path)
        except (MalformedCalibration, OSError) as fault:
            remarks.append(f"left out: {fault}")
            continue
        if record.is_of(rig.model, rig.serial_number):
            found[path] = record
        else:
            remarks.append(f"left out: {path.name} is of {record.rig.model} {record.rig.serial_number}")
    newest = _newest(found, at)
    chosen = None if newest is None else found[newest]
    return ChosenCalibration(chosen, "; ".join([_in_words(folder, newest, chosen, at), *remarks]))


def _newest(found: dict[Path, CalibrationRecord], at: datetime) -> Path | None:
    superseded = {record.supersedes for record in found.values()}
    current = {path: record for path, record in found.items() if content_id(record) not in superseded}
    valid = [path for path in current if current[path].valid_until >= at]
    return max(valid or current, key=lambda path: current[path].made_at, default=None)


def _in_words(folder: Path, path: Path | None, record: CalibrationRecord | None, at: datetime) -> str:
    if path is None or record is None:
        return f"no calibration record of this rig in {folder}/: forces will be marked uncalibrated"
    if record.valid_until < at:
        return (
            f"the calibration record {path.name} has expired on {record.valid_until:%Y-%m-%d}: "
            "forces will be marked so; calibrate again"
        )
    return f"calibrated by {path.name} of {record.made_at:%Y-%m-%d}, valid until {record.valid_until:%Y-%m-%d}"
