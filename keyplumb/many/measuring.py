"""What one of many recordings is measured into: its numbers, or a few lines about them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from keyplumb.many.outcomes import Failed
from processing.calibration_status import marked
from processing.display import Units, with_unit
from processing.keyboard import KeyboardResult
from processing.settings import Settings
from processing.summary import nobody_odd_sentence
from processing.views import measure_view, tidy_table
from processing.whole_recording import analyse_file
from recordings.calibration_record import CalibrationRecord
from recordings.keys import Key
from recordings.reader import RecordingFile, open_recording

Form = Literal["json", "csv", "sentence"]
FAILURE_SCHEMA = "keyplumb.failure/1"
CSV_HEAD = "file,key,number,colour,measurand,value,unit,u,U95,dof,flags,reason"


@dataclass(frozen=True, slots=True)
class Asked:
    """What every recording is asked for."""

    settings: Settings
    keys: tuple[Key, ...] | None = None
    """None: all that a recording holds."""
    record: CalibrationRecord | None = None
    """In place of the recordings' own."""

    def measured(self, opened: RecordingFile) -> KeyboardResult:
        """Return the results of an open recording. Raises MalformedRecording if it holds none of the keys."""
        return analyse_file(opened, self.settings, keys=opened.held_of(self.keys), record=self.record, workers=1)


def told(file: Path, *, asked: Asked, form: Form, units: Units) -> str:
    """Return what is to be said of one recording among many, its name left out: JSON, rows of CSV or a sentence."""
    with open_recording(file) as opened:
        result, complete = asked.measured(opened), opened.complete
    if form == "json":
        return json.dumps(measure_view(result), allow_nan=False)
    if form == "csv":
        return tidy_table(result).to_csv(index=False, header=False)
    return _sentence(result, units) + ("" if complete else " The recording was interrupted.")


def with_name(file: Path, text: str, form: Form) -> str:
    """Return the lines of what was told of a recording, with its name in front."""
    if form == "json":
        return f'{{"file": {json.dumps(str(file))}, {text[1:]}'
    if form == "csv":
        quoted = '"' + str(file).replace('"', '""') + '"'
        return "\n".join(f"{quoted},{row}" for row in text.splitlines())
    return f"{file}: {text}"


def failure_line(failed: Failed) -> str:
    """Return the line that stands for a file that failed where each file has its line of JSON."""
    return json.dumps({"file": str(failed.file), "schema": FAILURE_SCHEMA, "reason": failed.reason})


def _sentence(result: KeyboardResult, units: Units) -> str:
    measured = sum(key.strokes > 0 for key in result.keys)
    odd = [odd.result.key.name for odd in result.odd_keys]
    named = f"{', '.join(odd)} stand{'s' if len(odd) == 1 else ''} out."
    stand_out = named if odd else nobody_odd_sentence(result)
    weight = _median_of("down_weight", "down weight", result, units) + _median_of("friction", "friction", result, units)
    return f"{result.header.run.instrument}, {measured} of {len(result.keys)} keys measured{weight}. {stand_out}"


def _median_of(name: str, words: str, result: KeyboardResult, units: Units) -> str:
    values = [value for key in result.keys if (value := key[name].value) is not None]
    if not values:
        return ""
    shown = marked(units, result.header)
    return f", {words} {with_unit(float(np.median(values)), result.keys[0][name].unit, shown)}"
