"""Values that stand out: the generalised extreme studentised deviate, Grubbs, and the modified z as a second opinion.

How it works: the value furthest from the mean is taken away, again and again, up to as many times as may stand out;
the last time that its distance exceeded the critical value tells how many do. So two that hide each other are found.
Sources: Rosner, Technometrics 25:165, 1983; Grubbs, Technometrics 11:1, 1969; Iglewicz & Hoaglin 1993; all as in the
NIST/SEMATECH e-Handbook 1.3.5.17.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from processing.stages import FloatArray

NORMAL_PER_MAD = 0.6745
"""As the e-Handbook rounds it: quantile of 0.75 of the normal distribution."""


MEDIAN_THINS = 1.06
"""A value is the median of itself and its neighbours one time in nine; then its distance is 0, and the standard
deviation of all distances is too small for those that are not. With 1.06, alpha is held: simulated for 12 to 52 keys,
alpha 0.05 to 0.001, neighbours correlated by 0 to 0.5 (`make error-rates` looks again)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One step of the procedure: which value, how far it stood out, how far it had to."""

    index: int
    deviate: float
    critical: float


@dataclass(frozen=True, slots=True)
class Outliers:
    """What the procedure has found. candidates: all steps, furthest first; the first `count` stand out."""

    candidates: tuple[Candidate, ...]
    count: int
    alpha: float

    @property
    def indices(self) -> tuple[int, ...]:
        """Of the values that stand out, furthest first."""
        return tuple(candidate.index for candidate in self.candidates[: self.count])


def critical_deviate(count: int, alpha: float) -> float:
    """Return how many standard deviations the furthest of `count` normal values may lie off, two-sided."""
    t = stdtrit(count - 2, 1.0 - alpha / (2.0 * count))
    return float((count - 1) * t / np.sqrt((count - 2 + t**2) * count))


def generalised_esd(values: FloatArray, *, most: int, alpha: float, thinned: float = 1.0) -> Outliers:
    """Return the values (n,) that stand out, at most `most`; n >= 3 or none does.

    alpha: probability that any of normal values is named. thinned: what the critical values are multiplied with where
    values have been drawn to the middle (MEDIAN_THINS); 1 for values as they are.
    """
    left = np.arange(len(values))
    candidates: list[Candidate] = []
    while len(candidates) < most and len(left) >= 3:
        kept = values[left]
        off = np.abs(kept - kept.mean())
        spread = float(kept.std(ddof=1))
        if spread == 0.0:
            break
        furthest = int(np.argmax(off))
        critical = thinned * critical_deviate(len(left), alpha)
        candidates.append(Candidate(int(left[furthest]), float(off[furthest]) / spread, critical))
        left = np.delete(left, furthest)
    exceeding = [step for step, candidate in enumerate(candidates, 1) if candidate.deviate > candidate.critical]
    return Outliers(tuple(candidates), exceeding[-1] if exceeding else 0, alpha)


def grubbs_critical(count: int, alpha: float, *, two_sided: bool = False) -> float:
    """Return the critical value of Grubbs' test for one outlier."""
    return critical_deviate(count, alpha if two_sided else 2.0 * alpha)


def modified_z(values: FloatArray) -> FloatArray:
    """Return 0.6745 times the distance from the median over the median distance, signed, shape (n,).

    Where more than half of the values are equal, only those that differ are infinitely far.
    """
    off = values - np.median(values)
    typical = float(np.median(np.abs(off)))
    if typical > 0.0:
        scaled: FloatArray = NORMAL_PER_MAD * off / typical
        return scaled
    return np.where(off == 0.0, 0.0, np.copysign(np.inf, off))
