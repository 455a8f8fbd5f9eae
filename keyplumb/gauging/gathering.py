"""From recordings to the readings of a gauge study: of a plan's folder, or of a check standard day after day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from processing.calibrate import recalibrated
from processing.calibration_status import Status, calibration_status
from processing.errors import MalformedStudy
from processing.gauge.readings import Reading
from processing.gauge.stability import Day, day_of
from processing.measurand_units import UNIT_OF
from processing.pipeline import analyse
from processing.unit_store.folder import model_folders
from processing.unit_store.store import UnitStore
from recordings.reader import open_recording

if TYPE_CHECKING:
    from keyplumb.gauging.plan import Press, StudyPlan
    from processing.settings import Settings
    from processing.stages import KeyResult
    from recordings.calibration_record import CalibrationRecord
    from recordings.keys import Key
    from recordings.types import Header

LeftOut = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPress:
    """One press of the plan, and what its recording holds."""

    press: Press
    header: Header
    result: KeyResult


def measured_presses(plan: StudyPlan, record: CalibrationRecord | None, settings: Settings) -> list[MeasuredPress]:
    """Return what every press of a study has shown.

    Raises MalformedStudy if a recording is not that of its press, RecordingError.
    """
    found = []
    for press in plan.presses:
        path = plan.path(press)
        with open_recording(path) as opened:
            key = next((key for key in opened.keys if key.name == press.key), None)
            if key is None or opened.header.run.operator != press.operator:
                who = opened.header.run.operator or "nobody named"
                keys = ", ".join(one.name for one in opened.keys) or "no key"
                raise MalformedStudy(
                    str(path),
                    f"it holds {keys} by {who}, not {press.key} by {press.operator}",
                    "move it away and press again with `keyplumb gauge record`",
                )
            header = recalibrated(opened.header, record)
            result = analyse(header, [opened.read_key(key)], settings)
        found.append(MeasuredPress(press, header, result.keys[0]))
    return found


def readings_of(measurand: str, presses: Sequence[MeasuredPress]) -> tuple[str, list[Reading], LeftOut]:
    """Return the unit, the readings of one measurand by key, and the keys left out, with the reason of the first press
    in which it is missing."""
    missing: dict[str, str] = {}
    readings = []
    for one in sorted(presses, key=lambda one: one.result.key):
        press, value = one.press, one.result[measurand].value
        if value is None:
            why = one.result[measurand].reason or "no value"
            missing.setdefault(press.key, f"{press.operator}, trial {press.trial}: {why}")
        else:
            readings.append(Reading(press.key, press.operator, str(press.trial), value))
    kept = [reading for reading in readings if reading.part not in missing]
    return presses[0].result[measurand].unit, kept, tuple(missing.items())


@dataclass(frozen=True, slots=True)
class Watched:
    """A kept key day after day; readings of one day (UTC) are repeats."""

    unit: str
    days: list[Day]
    status: Status
    """Of the calibration of the last reading."""
    left_out: tuple[str, ...] = ()
    """Recordings without a value, and why."""


def is_store(folder: Path) -> bool:
    """Tell whether a folder is a store of units."""
    return folder.is_dir() and bool(model_folders(folder))


def days_of_store(store: Path, serial: str, key: Key, measurand: str) -> Watched:
    """Return a key of a kept unit from all its measurings in a store.

    Raises MalformedStudy if there are none, and what a store raises.
    """
    opened = UnitStore(store)
    values, units = opened.values(measurand, which="all"), opened.units(which="all")
    mine = values[(values["serial"] == serial) & (values["number"] == key.number)]
    if not len(mine):
        why = f"it holds no {measurand} of {key.name} of a unit with the serial number {serial}"
        raise MalformedStudy(str(store), why, "name the kept unit with --serial")
    by_day = {
        f"{day:%Y-%m-%d}": list(of_day["value"]) for day, of_day in mine.groupby(mine["measured_at_utc"].dt.floor("D"))
    }
    last = units[units["measuring_id"] == mine["measuring_id"].iloc[-1]]
    days = [day_of(day, values) for day, values in by_day.items()]
    return Watched(UNIT_OF[measurand], days, last["calibration"].iloc[0])


def days_of_folder(folder: Path, key: Key, measurand: str, record: CalibrationRecord | None) -> Watched:
    """Return a kept key from all recordings of a folder that hold it. Raises MalformedStudy if none has it."""
    by_day: dict[str, list[float]] = {}
    left_out, started = [], []
    for path in sorted(folder.glob("*.h5")):
        with open_recording(path) as opened:
            if key not in opened.keys:
                continue
            header = recalibrated(opened.header, record)
            measured = analyse(header, [opened.read_key(key)]).keys[0][measurand]
            started.append((header, path, measured))
    for header, path, measured in sorted(started, key=lambda one: (one[0].run.started_at, one[1])):
        if measured.value is None:
            left_out.append(f"{path.name}: {measured.reason}")
        else:
            by_day.setdefault(f"{header.run.started_at:%Y-%m-%d}", []).append(measured.value)
    if not by_day:
        raise MalformedStudy(
            str(folder),
            f"no recording there has {measurand} of {key.name}",
            "name the kept key with --key, and what is watched with --measurand",
        )
    days = [day_of(day, values) for day, values in by_day.items()]
    return Watched(UNIT_OF[measurand], days, calibration_status(header), tuple(left_out))
