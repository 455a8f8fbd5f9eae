"""The public API: open a recording, measure it, plot a key, get pandas tables."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from processing.calibrate import recalibrated
from processing.calibration_status import marked
from processing.display import Units, parse_units
from processing.keyboard import KeyboardResult
from processing.pipeline import analyse
from processing.settings import Settings
from processing.stages import Curve, KeyResult
from processing.views import measure_view, tidy_table, wide_table
from processing.whole_recording import analyse_file
from recordings.calibration_file import read_calibration
from recordings.calibration_record import CalibrationRecord
from recordings.reader import open_recording, read_recording
from recordings.types import Header, Recording

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


def open(path: str | Path) -> Recording:  # noqa: A001 - the name a notebook user expects
    """Return a recording: integer counts, ticks and what explains them. Raises recordings.errors.RecordingError."""
    return read_recording(Path(path))


def measure(
    recording: str | Path | Recording,
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
    record = read_calibration(Path(calibration)) if isinstance(calibration, str | Path) else calibration
    if isinstance(recording, Recording):
        header = recalibrated(recording.header, record)
        return Measured(analyse(header, recording.keys, settings, diary=recording.diary))
    with open_recording(Path(recording)) as opened:
        return Measured(analyse_file(opened, settings, record=record, workers=workers))


@dataclass(frozen=True)
class MeasuredKey:
    """One key's results."""

    result: KeyResult
    header: Header
    """Of the recording it is from."""

    @property
    def curve(self) -> Curve | None:
        """The mean curve (N, mm), None if nothing could be measured."""
        return self.result.curve

    @property
    def values(self) -> dict[str, float | None]:
        """Every measurand in N, mm, mJ; None where it is missing."""
        return {measurement.name: measurement.value for measurement in self.result.measurements}

    def plot(self, axes: Axes | None = None, *, units: str = "gf,mm") -> Axes:
        """Draw the curve with its features; on axes of your own, or on a new figure. Returns the axes."""
        from processing.report.curves import draw_key
        from processing.report.style import new_figure

        drawn_on = new_figure(7.0, 4.5).add_subplot() if axes is None else axes
        draw_key(drawn_on, self.result, marked(parse_units(units), self.header))
        drawn_on.legend(loc="upper left", ncols=3)
        return drawn_on


@dataclass(frozen=True)
class Measured:
    """A measured recording."""

    result: KeyboardResult

    @cached_property
    def keys(self) -> dict[str, MeasuredKey]:
        """Keys by name, A0 first."""
        return {key.key.name: MeasuredKey(key, self.result.header) for key in self.result.keys}

    def table(self) -> pd.DataFrame:
        """Return one row per key, units in the column names (`down_weight_N`)."""
        return wide_table(self.result)

    def tidy(self) -> pd.DataFrame:
        """Return one row per key and measurand, with uncertainty, flags and the reason where it is missing."""
        return tidy_table(self.result)

    def view(self) -> dict[str, Any]:
        """Return what `keyplumb measure --json` prints, as plain data."""
        return measure_view(self.result)

    def odd_keys(self, *, units: str = "gf,mm") -> dict[str, str]:
        """Return the keys that stand out, with the reasons in words."""
        from processing.summary import odd_key_sentences

        chosen: Units = parse_units(units)
        return dict(odd_key_sentences(self.result, chosen))
