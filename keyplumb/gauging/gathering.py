"""From recordings to the readings of a gauge study: of a plan's folder, or of a check standard day after day."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from processing.calibrate import recalibrated
from processing.errors import MalformedStudy
from processing.gauge.readings import Reading
from processing.gauge.stability import Day, day_of
from processing.pipeline import analyse
from recordings.reader import open_recording

if TYPE_CHECKING:
    from keyplumb.gauging.plan import StudyPlan
    from processing.stages import KeyResult, Measurement
    from recordings.calibration_record import CalibrationRecord
    from recordings.keys import Key

LeftOut = tuple[tuple[str, str], ...]


def measured_presses(plan: StudyPlan, record: CalibrationRecord | None) -> list[tuple[Reading, KeyResult]]:
    """Return what every press of a study has shown, beside a reading that has no value yet.

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
            result = analyse(recalibrated(opened.header, record), [opened.read_key(key)])
        found.append((Reading(press.key, press.operator, str(press.trial), 0.0), result.keys[0]))
    return found


def readings_of(measurand: str, presses: Iterable[tuple[Reading, KeyResult]]) -> tuple[str, list[Reading], LeftOut]:
    """Return the unit, the readings of one measurand, and the keys left out because it is missing somewhere, with
    the first reason."""
    told = [(reading, result[measurand]) for reading, result in presses]
    missing: dict[str, str] = {}
    for reading, one in told:
        if one.value is None:
            place = f"{reading.operator}, trial {reading.trial}: {one.reason or 'no value'}"
            missing.setdefault(reading.part, place)
    kept = [_with_value(reading, one) for reading, one in told if reading.part not in missing]
    return told[0][1].unit, kept, tuple(missing.items())


def _with_value(reading: Reading, measured: Measurement) -> Reading:
    assert measured.value is not None
    return Reading(reading.part, reading.operator, reading.trial, measured.value)


def days_of_folder(
    folder: Path, key: Key, measurand: str, record: CalibrationRecord | None
) -> tuple[str, list[Day], tuple[str, ...]]:
    """Return unit and days of a kept key from all recordings of a folder that hold it, and what was left out and why.

    Recordings of one day (UTC) are repeated readings. Raises MalformedStudy if no recording has it.
    """
    by_day: dict[str, list[float]] = {}
    unit, left_out, started = "", [], []
    for path in sorted(folder.glob("*.h5")):
        with open_recording(path) as opened:
            if key not in opened.keys:
                continue
            header = recalibrated(opened.header, record)
            measured = analyse(header, [opened.read_key(key)]).keys[0][measurand]
            started.append((header.run.started_at, path, measured))
    for when, path, measured in sorted(started, key=lambda one: one[:2]):
        unit = measured.unit
        if measured.value is None:
            left_out.append(f"{path.name}: {measured.reason}")
        else:
            by_day.setdefault(f"{when:%Y-%m-%d}", []).append(measured.value)
    if not by_day:
        raise MalformedStudy(
            str(folder), f"no recording there has {measurand} of {key.name}", "name the kept key with --key"
        )
    return unit, [day_of(day, values) for day, values in by_day.items()], tuple(left_out)
