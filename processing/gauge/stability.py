"""Is the rig still the one it was: a check standard (a kept key, a spring of known rate), read day after day.

How it works: the first days are the baseline; from them come, once and for all, the mean, the standard deviation of
the daily means s2, and, where a day has several readings, the spread within a day s1, pooled. Every later day is held
against that: its mean against mean +- k s2, its own spread by an F test against s1. Whether days differ by more than
repeated readings explain is a second F test, s2**2 n against s1**2. Source: NIST/SEMATECH e-Handbook 2.2.2, 2.6.2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from processing.display import count_of
from processing.errors import StudyUnfit
from processing.gauge.settings import StabilitySettings

Ruled = Literal["baseline", "in control", "mean out", "spread out", "both out"]


@dataclass(frozen=True, slots=True)
class Day:
    """The readings of one day, as a mean and a spread."""

    label: str
    mean: float
    sd: float | None = None
    """Of the readings of this day; None: there was only one."""
    dof: int = 0


@dataclass(frozen=True, slots=True)
class Baseline:
    """What the first days have shown; frozen."""

    days: int
    centre: float
    s2: float
    """Standard deviation of the daily means."""
    lower: float
    upper: float
    s1: float | None
    """Within a day, pooled; None: never more than one reading a day."""
    s1_dof: int
    between_f: float | None
    """Variance of the daily means against what s1 alone would make of them; None without s1."""
    between_p: float | None


@dataclass(frozen=True, slots=True)
class JudgedDay:
    """A day, and how it stands to the baseline."""

    day: Day
    ruled: Ruled
    upper_sd: float | None
    """Largest spread within this day that the baseline allows; None where it cannot be told."""


@dataclass(frozen=True, slots=True)
class Stability:
    """All days of a check standard."""

    baseline: Baseline
    days: tuple[JudgedDay, ...]
    settings: StabilitySettings

    @property
    def out(self) -> tuple[JudgedDay, ...]:
        """The days out of control, oldest first."""
        return tuple(one for one in self.days if one.ruled not in ("baseline", "in control"))


def day_of(label: str, values: Sequence[float]) -> Day:
    """Return the readings of one day as mean and spread."""
    if len(values) < 2:
        return Day(label, float(values[0]))
    return Day(label, float(np.mean(values)), float(np.std(values, ddof=1)), len(values) - 1)


def stability_of(days: Sequence[Day], settings: StabilitySettings | None = None) -> Stability:
    """Return the days, oldest first, held against the baseline of the first ones; the last day is always judged.

    Raises StudyUnfit if there are too few for a baseline.
    """
    chosen = settings or StabilitySettings()
    first = days[: min(chosen.baseline, len(days) - 1)]
    if len(first) < chosen.fewest:
        raise StudyUnfit(
            f"{count_of(len(days), 'day')} of the check standard",
            f"a baseline needs {chosen.fewest} before the day to be judged, and {chosen.baseline} are better; "
            "go on reading it",
        )
    baseline = baseline_of(first, chosen)
    judged = [JudgedDay(day, "baseline", _upper_sd(day, baseline, chosen)) for day in first]
    judged += [_judge(day, baseline, chosen) for day in days[len(first) :]]
    return Stability(baseline, tuple(judged), chosen)


def baseline_of(days: Sequence[Day], settings: StabilitySettings) -> Baseline:
    """Return what days, two at least, say of the check standard."""
    from scipy.stats import f

    means = np.array([day.mean for day in days])
    centre, s2 = float(means.mean()), float(means.std(ddof=1))
    limits = (centre - settings.sigmas * s2, centre + settings.sigmas * s2)
    repeated = [day for day in days if day.sd is not None]
    dof = sum(day.dof for day in repeated)
    if not dof:
        return Baseline(len(days), centre, s2, *limits, None, 0, None, None)
    s1 = math.sqrt(sum(day.dof * (day.sd or 0.0) ** 2 for day in repeated) / dof)
    by_repeats = s1**2 * float(np.mean([1.0 / (day.dof + 1) for day in days]))
    ratio = s2**2 / by_repeats if by_repeats else math.inf if s2 else 0.0
    return Baseline(len(days), centre, s2, *limits, s1, dof, ratio, float(f.sf(ratio, len(days) - 1, dof)))


def _upper_sd(day: Day, baseline: Baseline, settings: StabilitySettings) -> float | None:
    from scipy.stats import f

    if baseline.s1 is None or not day.dof:
        return None
    return baseline.s1 * math.sqrt(float(f.isf(settings.alpha, day.dof, baseline.s1_dof)))


def _judge(day: Day, baseline: Baseline, settings: StabilitySettings) -> JudgedDay:
    most = _upper_sd(day, baseline, settings)
    wide = most is not None and day.sd is not None and day.sd > most
    far = not baseline.lower <= day.mean <= baseline.upper
    ruled: Ruled = "both out" if far and wide else "mean out" if far else "spread out" if wide else "in control"
    return JudgedDay(day, ruled, most)
