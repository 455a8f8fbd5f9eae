"""The public API: open a recording, measure it, plot a key, compare two, get pandas tables.

What people write is `keyplumb.open("fern.h5").keys["C4"].curve.plot()`: opening reads who recorded what and when;
numbers are made when the first one is asked for, and kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from keyplumb.compared import Compared
from keyplumb.labels import demand_different
from keyplumb.measured import Measured, MeasuredCurve, MeasuredKey, Numbers
from processing.calibrate import recalibrated
from processing.comparison.compare import compare_keyboards
from processing.comparison.margins import read_margins
from processing.dealt_checks import Check, settle_by_checks
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
    checks: Sequence[str | Path | Numbers] = (),
) -> Measured:
    """Return all numbers of a recording, given as a file or as what `open` returned.

    calibration: a record, or its file, in place of the one in the recording; all numbers come anew from the raw counts.
    workers: how many processes measure a file; None: as many as pay. More than one, asked for on other systems than
    Linux or in a program with threads, needs the caller to stand under `if __name__ == "__main__":` or in a notebook.
    checks: recordings of some of its keys again, before, between, after: drift over the sitting is taken out. Files,
    which are measured with the same settings and calibration, or what `open` or `measure` returned.
    Raises recordings.errors.RecordingError if a file cannot be read; ForeignChecks, SameRecording (processing.errors).

    >>> import keyplumb
    >>> again = keyplumb.measure("fern.h5", checks=["fern-before.h5", "fern-between.h5", "fern-after.h5"])
    >>> print(again.drift_sentences()[0])
    fern: by check keys C4, E4, B4, measured 12 times in 4 recordings, nothing surely drifted.
    """
    record = _record_of(calibration)
    if isinstance(recording, Recording):
        header = recalibrated(recording.header, record)
        result = replace(analyse(header, recording.keys, settings, diary=recording.diary), complete=recording.complete)
        place = MEMORY
    else:
        path = recording.path if isinstance(recording, OpenedRecording) else Path(recording)
        with open_recording(path) as opened:
            result = analyse_file(opened, settings, record=record, workers=workers)
        place = str(path)
    opened_checks = [_opened(check, settings, record) for check in checks]
    demand_different([result.header, *map(_header_of, opened_checks)], [place, *map(_place_of, opened_checks)])
    (settled,) = settle_by_checks([result], [Check(_place_of(one), one.result) for one in opened_checks])
    return Measured(settled.result, settled.sitting)


def compare(
    first: str | Path | Numbers,
    second: str | Path | Numbers,
    *others: str | Path | Numbers,
    margins: str | Path | None = None,
    checks: Sequence[str | Path | Numbers] = (),
) -> Compared:
    """Return two or more recordings compared, each but the first with the first.

    Each is a file, or what `open` or `measure` returned. margins: a TOML file that says up to which difference
    keyboards are as good as alike; the built-in ones stay for what it does not name. checks: recordings of some keys
    again, before, between, after, of any of the keyboards: drift over their sittings is taken out. What is given as a
    file is measured as it is; give what `measure` returned for other settings or another calibration.
    Raises SameRecording, NothingInCommon, MalformedMargins, ForeignChecks (processing.errors); RecordingError.

    >>> import keyplumb
    >>> both = keyplumb.compare(keyplumb.open("fern.h5"), "moss.h5")
    >>> both.pair().difference("down_weight", "natural", "whole").verdict
    'different'
    """
    told = read_margins() if margins is None else read_margins(Path(margins))
    all_given = [_opened(one) for one in (first, second, *others)]
    opened_checks = [_opened(check) for check in checks]
    everything = [*all_given, *opened_checks]
    demand_different([_header_of(one) for one in everything], [_place_of(one) for one in everything])
    all_checks = [Check(_place_of(one), one.result) for one in opened_checks]
    settled = settle_by_checks([one.result for one in all_given], all_checks)
    results = [one.result for one in settled]
    files = [one.path.stem if isinstance(one, OpenedRecording) else "" for one in all_given]
    names = told_apart([result.header.run.instrument for result in results], files)
    comparison = compare_keyboards(results, names, margins=told)
    return Compared(comparison, tuple(one.sitting for one in settled))


def _record_of(calibration: str | Path | CalibrationRecord | None) -> CalibrationRecord | None:
    return read_calibration(Path(calibration)) if isinstance(calibration, str | Path) else calibration


def _opened(
    given: str | Path | Numbers, settings: Settings | None = None, record: CalibrationRecord | None = None
) -> Numbers:
    return OpenedRecording(Path(given), settings, record) if isinstance(given, str | Path) else given


def _place_of(numbers: Numbers) -> str:
    return str(numbers.path) if isinstance(numbers, OpenedRecording) else MEMORY


def _header_of(numbers: Numbers) -> Header:
    return numbers.header if isinstance(numbers, OpenedRecording) else numbers.result.header
