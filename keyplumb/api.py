"""The public API: open a recording, measure it, plot a key, compare two, get pandas tables.

What people write is `keyplumb.open("fern.h5").keys["C4"].curve.plot()`: opening reads who recorded what and when;
numbers are made when the first one is asked for, and kept.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from pathlib import Path

from keyplumb.compared import Compared
from keyplumb.labels import demand_different
from keyplumb.measured import Measured, MeasuredCurve, MeasuredKey, Numbers
from processing.calibrate import recalibrated
from processing.comparison.compare import compare_keyboards
from processing.comparison.margins import read_margins
from processing.keyboard import KeyboardResult
from processing.pipeline import analyse
from processing.recording_names import told_apart
from processing.settings import Settings
from processing.whole_recording import analyse_file
from recordings.calibration_file import read_calibration
from recordings.calibration_record import CalibrationRecord
from recordings.reader import open_recording, read_recording
from recordings.types import Header, Recording

__all__ = [
    "Compared",
    "Measured",
    "MeasuredCurve",
    "MeasuredKey",
    "Numbers",
    "OpenedRecording",
    "compare",
    "measure",
    "open",
]
MEMORY = "recording"
"""What a recording that is in no file is called where names are needed."""


class OpenedRecording(Numbers):
    """A recording in a file: its header at once, its numbers when they are first asked for.

    >>> import keyplumb
    >>> recording = keyplumb.open("fern.h5")
    >>> recording.header.run.instrument
    'fern'
    >>> list(recording.keys)[:3]
    ['C4', 'C#4', 'D4']
    """

    def __init__(self, path: Path, settings: Settings | None, record: CalibrationRecord | None) -> None:
        self.path, self._settings, self._record = path, settings, record
        with open_recording(path) as opened:
            self.header: Header = recalibrated(opened.header, record)
            self.complete: bool = opened.complete

    @cached_property
    def result(self) -> KeyboardResult:
        """Everything that was found, measured when it is first asked for."""
        return measure(self.path, settings=self._settings, calibration=self._record).result

    @cached_property
    def raw(self) -> Recording:
        """Integer counts, ticks and events of all keys as they came, and what explains them."""
        return read_recording(self.path)


def open(  # noqa: A001 - the name a notebook user expects
    path: str | Path,
    *,
    settings: Settings | None = None,
    calibration: str | Path | CalibrationRecord | None = None,
) -> OpenedRecording:
    """Return a recording; its numbers are made when they are first asked for.

    calibration: a record, or its file, in place of the one in the recording: all numbers come anew from the raw counts.
    Raises recordings.errors.RecordingError.

    >>> import keyplumb
    >>> ax = keyplumb.open("fern.h5").keys["C4"].curve.plot()
    >>> ax.get_ylabel()
    'force (gf uncalibrated)'
    """
    return OpenedRecording(Path(path), settings, _record_of(calibration))


def measure(
    recording: str | Path | Recording | OpenedRecording,
    *,
    settings: Settings | None = None,
    calibration: str | Path | CalibrationRecord | None = None,
    workers: int | None = None,
) -> Measured:
    """Return all numbers of a recording, given as a file or as what `open` returned.

    calibration: a record, or its file, in place of the one in the recording; all numbers come anew from the raw counts.
    workers: how many processes measure a file; None: as many as pay. More than one, asked for on other systems than
    Linux or in a program with threads, needs the caller to stand under `if __name__ == "__main__":` or in a notebook.
    Raises recordings.errors.RecordingError if a file cannot be read.
    """
    record = _record_of(calibration)
    if isinstance(recording, Recording):
        header = recalibrated(recording.header, record)
        result = analyse(header, recording.keys, settings, diary=recording.diary)
        return Measured(replace(result, complete=recording.complete))
    path = recording.path if isinstance(recording, OpenedRecording) else Path(recording)
    with open_recording(path) as opened:
        return Measured(analyse_file(opened, settings, record=record, workers=workers))


def compare(
    first: str | Path | Numbers,
    second: str | Path | Numbers,
    *others: str | Path | Numbers,
    margins: str | Path | None = None,
) -> Compared:
    """Return two or more recordings compared, each but the first with the first.

    Each is a file, or what `open` or `measure` returned. margins: a TOML file that says up to which difference
    keyboards are as good as alike; the built-in ones stay for what it does not name.
    Raises SameRecording, NothingInCommon, MalformedMargins (processing.errors); RecordingError.

    >>> import keyplumb
    >>> both = keyplumb.compare(keyplumb.open("fern.h5"), "moss.h5")
    >>> both.pair().difference("down_weight", "natural", "whole").verdict
    'different'
    """
    told = read_margins() if margins is None else read_margins(Path(margins))
    all_given = [open(one) if isinstance(one, str | Path) else one for one in (first, second, *others)]
    places = [str(one.path) if isinstance(one, OpenedRecording) else MEMORY for one in all_given]
    demand_different([_header_of(one) for one in all_given], places)
    results = [one.result for one in all_given]
    files = [one.path.stem if isinstance(one, OpenedRecording) else "" for one in all_given]
    names = told_apart([result.header.run.instrument for result in results], files)
    return Compared(compare_keyboards(results, names, margins=told))


def _record_of(calibration: str | Path | CalibrationRecord | None) -> CalibrationRecord | None:
    return read_calibration(Path(calibration)) if isinstance(calibration, str | Path) else calibration


def _header_of(numbers: Numbers) -> Header:
    return numbers.header if isinstance(numbers, OpenedRecording) else numbers.result.header
