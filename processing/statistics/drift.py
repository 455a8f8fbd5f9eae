"""Drift over the sitting, told apart from the keyboard by keys that were measured again.

How it works: each check key has a level of its own, and all of them drift alike, along a straight line in time; levels
and slope are least squares. What is left is the repeatability of measuring a key again, and the slope's uncertainty
follows from it. Values of other keys are brought to one time by the slope, which is then a line of their budgets: it
acts on a key by the hours between, one way on the first and the other way on the last. Without check keys a drift
cannot be told from a trend of the keyboard, for keys are measured from one end to the other.
Source: analysis of covariance with one common slope, any textbook of linear models.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from processing.budget.lines import Line
from processing.statistics.correlated import Estimate
from recordings.keys import Key

SECONDS_PER_HOUR = 3600.0
SITTING = "drift over the sitting"


@dataclass(frozen=True, slots=True)
class CheckedAgain:
    """One measurement of a check key: its value at a time of the sitting."""

    key: Key
    time_s: float
    value: float


@dataclass(frozen=True, slots=True)
class Drift:
    """A common straight drift of one measurand, in its unit."""

    per_hour: Estimate
    repeatability: float
    """Standard deviation of measuring one key again, drift taken out."""
    times_s: tuple[float, float]
    """First and last check: the drift is known between them."""

    @property
    def sure(self) -> bool:
        """Whether the drift is more than chance, at 5 %."""
        return self.per_hour.p < 0.05

    def line(self, unit: str, hours: float) -> Line:
        """Return what the slope gives to the budget of a number in `unit` that was measured so many hours too late."""
        slope = self.per_hour
        return Line(
            name=SITTING,
            kind="A",
            distribution="t",
            u=slope.u,
            unit=f"{unit}/h",
            dof=slope.dof,
            sensitivity=-hours,
        )


def drift_of(checks: Sequence[CheckedAgain]) -> Drift | None:
    """Return the drift that check keys tell; None if they cannot (no key again at another time, or nothing left over).

    Needs at least three more checks than check keys: one for the slope and two for its uncertainty.
    """
    keys = sorted({check.key for check in checks})
    times = np.array([check.time_s for check in checks])
    if len(checks) < len(keys) + 3:
        return None
    levels = np.array([[check.key == key for key in keys] for check in checks], np.float64)
    within = times - levels @ (levels.T @ times / levels.sum(axis=0))
    square = float(within @ within)
    if square == 0.0:
        return None
    values = np.array([check.value for check in checks])
    slope = float(within @ values) / square
    left = values - slope * within
    left = left - levels @ (levels.T @ left / levels.sum(axis=0))
    dof = len(checks) - len(keys) - 1
    repeatability = float(np.sqrt(left @ left / dof))
    u = repeatability / np.sqrt(square)
    per_hour = Estimate(slope * SECONDS_PER_HOUR, float(u) * SECONDS_PER_HOUR, float(dof))
    return Drift(per_hour, repeatability, (float(times.min()), float(times.max())))


def drift_bound(drift: Drift, coverage: float = 0.95) -> float:
    """Return how much the drift may have made between first and last check, at most, in the measurand's unit."""
    hours = (drift.times_s[1] - drift.times_s[0]) / SECONDS_PER_HOUR
    factor = float(student_t.ppf(0.5 + coverage / 2.0, drift.per_hour.dof))
    return hours * (abs(drift.per_hour.value) + factor * drift.per_hour.u)
