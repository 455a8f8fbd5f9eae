"""Several rigs (or houses) that read the same keys: do they agree, and how far may two results lie apart?

How it works: for each level (a key) every rig has n readings. h says how far a rig's mean lies from the mean of all,
in standard deviations of the means; k how its own scatter compares with that of all. Repeatability sr is the pooled
scatter, reproducibility sR**2 = s_xbar**2 + sr**2 (n - 1) / n, never below sr; r and R are the differences that two
results exceed in one of 20 cases. Sources: ASTM E691; ISO 5725-2 (Cochran's and Grubbs' tests); formulas from memory,
checked against published answers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.gauge.readings import Crossed
from processing.gauge.settings import InterlaboratorySettings
from processing.statistics.outliers import critical_deviate, grubbs_critical

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Level:
    """One key, read by all rigs."""

    part: str
    mean: float
    s_mean: float
    """Standard deviation of the rigs' means."""
    repeatability: float
    reproducibility: float
    r: float
    R: float
    h: tuple[float, ...]
    """One a rig."""
    k: tuple[float, ...]
    cochran: float
    """Largest of the rigs' variances over their sum."""
    grubbs: float
    """Largest distance of a rig's mean, in standard deviations of the means."""


@dataclass(frozen=True, slots=True)
class Interlaboratory:
    """What several rigs have read, level by level."""

    rigs: tuple[str, ...]
    repeats: int
    levels: tuple[Level, ...]
    h_critical: float
    k_critical: float
    settings: InterlaboratorySettings

    def inconsistent(self) -> tuple[tuple[str, str, str, float], ...]:
        """Return part, rig, "h" or "k", and value of everything beyond its critical value."""
        return tuple(
            (level.part, rig, which, values[place])
            for level in self.levels
            for place, rig in enumerate(self.rigs)
            for which, values, most in (("h", level.h, self.h_critical), ("k", level.k, self.k_critical))
            if abs(values[place]) > most
        )

    def outliers(self) -> tuple[tuple[str, str, str, float, float], ...]:
        """Return part, rig, "Cochran" or "Grubbs", statistic and critical value of each level's worst, if beyond it."""
        alpha, rigs = self.settings.outlier_alpha, len(self.rigs)
        scatter = cochran_critical(rigs, self.repeats, alpha)
        place = grubbs_critical(rigs, alpha, two_sided=True) if rigs >= 3 else math.inf
        return tuple(
            (level.part, self.rigs[int(np.argmax(np.abs(values)))], test, found, critical)
            for level in self.levels
            for test, values, found, critical in (
                ("Cochran", level.k, level.cochran, scatter),
                ("Grubbs", level.h, level.grubbs, place),
            )
            if found > critical
        )


def interlaboratory_of(readings: Crossed, settings: InterlaboratorySettings | None = None) -> Interlaboratory:
    """Return the precision of several rigs. Operators of the readings are the rigs, parts the levels."""
    chosen = settings or InterlaboratorySettings()
    rigs, repeats = len(readings.operators), readings.trials
    levels = tuple(
        _level(part, values, chosen.limit_factor) for part, values in zip(readings.parts, readings.values, strict=True)
    )
    h, k = h_critical(rigs, chosen.consistency_alpha), k_critical(rigs, repeats, chosen.consistency_alpha)
    return Interlaboratory(readings.operators, repeats, levels, h, k, chosen)


def _level(part: str, values: Array, factor: float) -> Level:
    means, variances = values.mean(axis=1), values.var(axis=1, ddof=1)
    repeats = values.shape[1]
    s_mean, sr = float(means.std(ddof=1)), math.sqrt(float(variances.mean()))
    s_all = max(sr, math.sqrt(s_mean**2 + sr**2 * (repeats - 1) / repeats))
    h = tuple((means - means.mean()) / s_mean) if s_mean else (0.0,) * len(means)
    k = tuple(np.sqrt(variances) / sr) if sr else (0.0,) * len(means)
    cochran = float(variances.max() / variances.sum()) if sr else 0.0
    return Level(
        part,
        float(means.mean()),
        s_mean,
        sr,
        s_all,
        factor * sr,
        factor * s_all,
        tuple(map(float, h)),
        tuple(map(float, k)),
        cochran,
        max(map(abs, map(float, h))),
    )


def h_critical(rigs: int, alpha: float) -> float:
    """Return the value that |h| of one rig exceeds by chance in a share `alpha`; infinite for two rigs."""
    if rigs < 3:  # of two means each lies as far out as the other, whatever they are
        return math.inf
    return critical_deviate(rigs, rigs * alpha)


def k_critical(rigs: int, repeats: int, alpha: float) -> float:
    """Return the value that k of one rig exceeds by chance in a share `alpha`."""
    return math.sqrt(rigs * _largest_share(rigs, repeats, alpha))


def cochran_critical(rigs: int, repeats: int, alpha: float) -> float:
    """Return the critical value of Cochran's test for the largest of several variances (ISO 5725-2, Bonferroni)."""
    return _largest_share(rigs, repeats, alpha / rigs)


def _largest_share(rigs: int, repeats: int, tail: float) -> float:
    from scipy.stats import f

    ratio = float(f.isf(tail, repeats - 1, (rigs - 1) * (repeats - 1)))
    return 1.0 / (1.0 + (rigs - 1) / ratio)
