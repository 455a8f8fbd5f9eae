"""The fastest rhythm in which every press sounds: from the repetition ladder.

How it works: a stretch of the ladder is a row of presses in one rhythm; presses are counted and timed by the plunger's
own visits to the bottom, notes by their beginnings. A row is sound if it has as many presses as are asked for and each
has made exactly one note. The limit is the highest rate of a sound row; the next rate that failed says how far above it
the truth may lie. If none failed the ladder, or the rig, ended first, and the limit is only a lower bound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.dynamics.recorded import REPETITIONS, Recorded, Stretch

BOTTOM_SHARE = 0.5
"""A press has gone below, and comes back above, this share of the way between the stretch's top and bottom."""


@dataclass(frozen=True, slots=True)
class Row:
    """One stretch: its rate, how many presses were made and how many of them sounded."""

    rate_hz: float
    presses: int
    sounded: int
    rhythm_bound_hz: float = 0.0


@dataclass(frozen=True, slots=True)
class Limit:
    """The limit, and the next rate up at which presses were lost; None: nothing failed."""

    rate_hz: float
    failed_hz: float | None
    rhythm_bound_hz: float
    """How far one sample in the time of the whole row changes its rate."""


def rows_of(recorded: Recorded) -> tuple[Row, ...]:
    """Return the rows in the order of time; a stretch with fewer than two presses has no rhythm and is no row."""
    rows = (_row(stretch, recorded) for stretch in recorded.of(REPETITIONS))
    return tuple(row for row in rows if row is not None)


def _row(stretch: Stretch, recorded: Recorded) -> Row | None:
    way, time_s = stretch.samples.way_mm, stretch.samples.time_s
    middle = float(way.min() + BOTTOM_SHARE * (way.max() - way.min()))
    low = way > middle
    downs = np.flatnonzero(~low[:-1] & low[1:]) + 1
    if len(downs) < 2:
        return None
    begins_s = time_s[downs]
    ends_s = [*begins_s[1:], time_s[-1]]
    notes = [recorded.notes_between(float(a), float(b)) for a, b in zip(begins_s, ends_s, strict=True)]
    whole_s = float(begins_s[-1] - begins_s[0])
    rate_hz = (len(downs) - 1) / whole_s
    bound_hz = rate_hz * float(np.median(np.diff(time_s))) / whole_s
    return Row(rate_hz, len(downs), sum(len(heard) == 1 for heard in notes), bound_hz)


def limit_of(rows: tuple[Row, ...], presses_asked: int) -> Limit | None:
    """Return the limit, None if no row was sound."""
    full = [row for row in rows if row.presses >= presses_asked]
    sound = [row for row in full if row.sounded == row.presses]
    if not sound:
        return None
    best = max(sound, key=lambda row: row.rate_hz)
    failed = [row.rate_hz for row in rows if row.sounded < row.presses and row.rate_hz > best.rate_hz]
    return Limit(best.rate_hz, min(failed, default=None), best.rhythm_bound_hz)
