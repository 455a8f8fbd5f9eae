"""A nested study: how much readings of kept keys differ within a day, from day to day and from run to run.

How it works: a run is some days in a row, with the rig set up anew before it; all keys are read every day, several
times. The three levels are pooled over the keys: s1 within a day, s2 of the daily means within a run, s3 of the runs'
means. What each level adds of its own follows by taking away what the one below it explains; the uncertainty of one
day's mean holds all three. Source: NIST/SEMATECH e-Handbook 2.4.3 and 2.6.1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.display import count_of
from processing.errors import StudyUnfit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Nested:
    """Three levels of spread, in the readings' unit, with degrees of freedom."""

    keys: int
    runs: int
    days: int
    repeats: int
    s1: float
    s1_dof: int
    s2: float
    s2_dof: int
    s3: float
    s3_dof: int
    of_days: float
    """What days add of their own: s2**2 less s1**2 over the repeats; 0 if that is negative."""
    of_runs: float
    """What runs add of their own: s3**2 less s2**2 over the days; 0 if that is negative."""
    u: float
    """Standard uncertainty of the mean of one day's repeats, on a day and in a run of its own."""
    u_dof: float
    """Effective, by Welch and Satterthwaite."""


@dataclass(frozen=True, slots=True)
class DayMean:
    """One key on one day of one run."""

    part: str
    run: str
    day: str
    mean: float
    sd: float
    repeats: int


def nested_of(days: Sequence[DayMean]) -> Nested:
    """Return the three levels.

    Raises StudyUnfit unless every key was read on as many days of every run, as often each day, and there are two runs,
    two days in each and two readings on each at least.
    """
    parts, runs = (tuple(dict.fromkeys(getattr(one, name) for one in days)) for name in ("part", "run"))
    cells = {(part, run): [one for one in days if (one.part, one.run) == (part, run)] for part in parts for run in runs}
    counts = {len(cell) for cell in cells.values()}
    repeats = {one.repeats for one in days}
    if len(counts) > 1 or len(repeats) > 1:
        raise StudyUnfit(
            f"{min(counts)} to {max(counts)} days a run and key, {min(repeats)} to {max(repeats)} readings a day",
            "read every key on as many days of every run, and as often each day",
        )
    if len(runs) < 2 or min(counts, default=0) < 2 or min(repeats, default=0) < 2:
        raise StudyUnfit(
            f"{count_of(len(runs), 'run')} of {count_of(min(counts, default=0), 'day')} of "
            f"{count_of(min(repeats, default=0), 'reading')}",
            "two runs, two days in each and two readings on each at least",
        )
    means = np.array([[[one.mean for one in cells[part, run]] for run in runs] for part in parts])
    return _levels(means, np.array([one.sd for one in days]), repeats.pop())


def _levels(means: Array, sds: Array, repeats: int) -> Nested:
    """Return the levels. means: (keys, runs, days)."""
    keys, runs, days = means.shape
    s1 = math.sqrt(float((sds**2).mean()))
    s2 = math.sqrt(float(means.var(axis=2, ddof=1).mean()))
    s3 = math.sqrt(float(means.mean(axis=2).var(axis=1, ddof=1).mean()))
    s2_dof, s3_dof = keys * runs * (days - 1), keys * (runs - 1)
    own = [(math.sqrt((days - 1) / days) * s2, s2_dof), (s3, s3_dof)]
    u = math.hypot(*(part for part, _ in own))
    return Nested(
        keys,
        runs,
        days,
        repeats,
        s1,
        keys * runs * days * (repeats - 1),
        s2,
        s2_dof,
        s3,
        s3_dof,
        math.sqrt(max(s2**2 - s1**2 / repeats, 0.0)),
        math.sqrt(max(s3**2 - s2**2 / days, 0.0)),
        u,
        u**4 / sum(part**4 / dof for part, dof in own) if u else float(s2_dof),
    )
