"""Which units a line is made of, in the order of time, and which of them are its baseline."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from processing.control.settings import ControlSettings
from processing.errors import BackwardBaseline, NoSuchModel, TooFewUnits, UnknownBaseline

if TYPE_CHECKING:
    import pandas as pd

    from processing.unit_store import UnitStore

CONDITIONS = ("operator", "rig", "calibration_id", "software_version")
"""Columns of the store: what a line was measured by. A change in them is no change of the process."""


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """The units of a line, oldest first; the first `baseline` of them set the limits."""

    model: str
    ids: list[str]
    labels: list[str]
    """Serial numbers; the time of measuring where there is none."""
    measured_at: list[datetime]
    """UTC."""
    baseline: int
    before: int
    """Units older than the baseline, which are left out."""
    outcomes: list[str | None]
    conditions: dict[str, list[str | None]]
    """What each unit was measured by, one list a name of CONDITIONS."""
    uncalibrated: int
    """Units whose forces rest on no valid calibration."""
    without_serial: int


def the_model(store: UnitStore, asked: str | None) -> str:
    """Return the model that is asked for, or the only one there is. Raises NoSuchModel, NoUnitStore."""
    known = store.models()
    if asked in known:
        return str(asked)
    if asked is None and len(known) == 1:
        return known[0]
    raise NoSuchModel(store.path, asked, known)


def units_of_line(store: UnitStore, model: str, baseline: str | int | None, settings: ControlSettings) -> Units:
    """Return the latest measuring of every unit. Raises TooFewUnits, UnknownBaseline, BackwardBaseline."""
    frame = store.units(model)
    labels = [
        serial or f"{when:%Y-%m-%d %H:%M}"
        for serial, when in zip(_texts(frame, "serial"), frame["measured_at_utc"], strict=True)
    ]
    first, count = _baseline(baseline, labels, settings)
    if count < settings.fewest or len(labels) - first - count < 1:
        raise TooFewUnits(model, len(labels), count, settings.fewest)
    frame = frame.iloc[first:]
    return Units(
        model=model,
        ids=frame["measuring_id"].tolist(),
        labels=labels[first:],
        measured_at=[when.to_pydatetime() for when in frame["measured_at_utc"]],
        baseline=count,
        before=first,
        outcomes=_texts(frame, "outcome"),
        conditions={name: _texts(frame, name) for name in CONDITIONS},
        uncalibrated=int((frame["calibration"] != "calibrated").sum()),
        without_serial=int(frame["serial"].isna().sum()),
    )


def _baseline(asked: str | int | None, labels: list[str], settings: ControlSettings) -> tuple[int, int]:
    """Return where the baseline begins and how many units it has. Raises UnknownBaseline, BackwardBaseline."""
    if asked is None or isinstance(asked, int):
        return 0, min(len(labels), asked or settings.baseline)
    first, last = (end.strip() for end in asked.split("..", 1))
    for end in (first, last):
        if end not in labels:
            raise UnknownBaseline(end, labels[0], labels[-1])
    begin, end_at = labels.index(first), labels.index(last)
    if end_at < begin:
        raise BackwardBaseline(first, last)
    return begin, end_at - begin + 1


def _texts(frame: pd.DataFrame, column: str) -> list[str | None]:
    found = frame[column]
    return [None if missing else str(text) for text, missing in zip(found, found.isna(), strict=True)]
