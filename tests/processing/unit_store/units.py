"""Units for the store: keys with a value here and there, by nobody's physics."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult
from processing.settings import Settings
from processing.stages import KeyResult, Measurement
from recordings.keys import Key
from tests.builders import a_header

BEGUN = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def a_unit(
    values: dict[str, float] | None = None, *, keys: range = range(40, 43), minutes: float = 0.0
) -> KeyboardResult:
    """Return a unit measured so many minutes after the first; all its keys have the same values (default friction)."""
    known = {"friction": 0.1} if values is None else values
    measured = tuple(
        Measurement(name=one.name, unit=one.unit, value=known[one.name], u=0.001)
        if one.name in known
        else Measurement(name=one.name, unit=one.unit, value=None, reason="not asked")
        for one in FEATURES
    )
    header = a_header("moss")
    run = replace(header.run, started_at=BEGUN + timedelta(minutes=minutes))
    results = tuple(KeyResult(Key(number), 3, measured, "none", (), None) for number in keys)
    return KeyboardResult(replace(header, run=run), Settings(), results, ())
