"""Tolerance intervals for keys of units that are yet to come, from the keys of some units: two levels of variation.

How it works: a key's value is mean + what its unit has for itself + what the key has for itself, both normal. Keys of
one unit share the first, so they are not as many units: with I units the level and half of the spread rest on I values.
What is seen (scatter of the units' means, of the keys in a unit) is turned round into what the truth may be: for each
of many draws of chi-squares and a normal number the half-width that would hold the stated share is found; the
`confidence` quantile of them is taken (generalised pivots). The draws are a fixed low-discrepancy set: same units, same
limits. With one key a unit it is the exact interval of ISO 16269-6.
Satterthwaite's degrees of freedom with an effective count were tried first: at a stated 95 % they held in 67 to 90 %
where units and keys scatter alike, since a between-unit scatter that is small by chance is then believed.
Sources: Liao, Lin & Iyer, Technometrics 47:325, 2005 (from memory); unweighted means for units of unequal keys:
Thomas & Hultquist, Ann. Stat. 6:582, 1978 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.special import chdtri, ndtri

from processing.limits.tolerance import half_width_needed, smallest
from processing.stages import FloatArray, read_only

POWER_OF_DRAWS = 13
"""Two to this: 8192 draws; twice as many move a half-width by less than 0.5 % for two units, 0.1 % for five."""
SEED = 16269
ERRS_TO = 8.0
"""Up to where the half-width needed is tabulated, in standard deviations by which the middle errs."""
TABLE_STEP = 0.02
"""Interpolated linearly this is exact to 1e-4 of a standard deviation."""


@dataclass(frozen=True, slots=True)
class TwoLevels:
    """What some units tell about the population of their keys, in the values' unit."""

    mean: float
    units: int
    keys: float
    """In a unit: harmonic mean."""
    means_variance: float
    """Of the units' means about each other; nan of a single unit."""
    keys_variance: float
    """Of the keys in a unit, pooled."""
    keys_dof: float

    @property
    def between(self) -> float:
        """Standard deviation between units, the keys' part taken out; 0 where that explains all."""
        return float(np.sqrt(max(0.0, self.means_variance - self.keys_variance / self.keys)))

    @property
    def within(self) -> float:
        """Standard deviation between the keys of a unit."""
        return float(np.sqrt(self.keys_variance))

    @property
    def spread(self) -> float:
        """Standard deviation of one key of any unit."""
        return float(np.sqrt(self.means_variance + self.keys_variance * (1.0 - 1.0 / self.keys)))

    def half_width(self, coverage: float, confidence: float) -> float:
        """Return how far on either side of the mean limits lie that hold `coverage` of all keys of all units."""
        return float(np.quantile(_half_widths(self, coverage), confidence))

    def at_least(self, keys_variance: float) -> TwoLevels:
        """Return the same with keys that scatter by no less than a variance that is known from elsewhere."""
        return replace(self, keys_variance=max(self.keys_variance, keys_variance))

    def of_units(self, units: int) -> TwoLevels:
        """Return what so many units would tell if they scattered as these do."""
        each = (self.keys_dof + 1.0) / self.units
        return replace(self, units=units, keys_dof=units * each - 1.0)

    def units_for(self, coverage: float, confidence: float, *, excess: float = 0.1) -> int | None:
        """Return how many units bring the half-width within a share of the least possible; None: beyond counting."""
        aim = (1.0 + excess) * float(ndtri((1.0 + coverage) / 2.0)) * self.spread
        return smallest(lambda units: self.of_units(units).half_width(coverage, confidence) <= aim, 2)


def two_levels(units: tuple[FloatArray, ...], *, spent: float = 0.0) -> TwoLevels:
    """Return what the values of some units, (n_i,) each, tell. spent: degrees of freedom that a trend has taken.

    Raises ValueError if no unit has two keys, or there are no units.
    """
    counts = np.array([len(unit) for unit in units], np.float64)
    dof = float(counts.sum()) - len(units) - spent
    if len(units) == 0 or dof <= 0.0:
        raise ValueError(f"{counts.sum():g} values of {len(units)} units tell no spread of keys: give more keys a unit")
    means = np.array([unit.mean() for unit in units])
    squares = float(sum(((unit - unit.mean()) ** 2).sum() for unit in units))
    return TwoLevels(
        mean=float(means.mean()),
        units=len(units),
        keys=float(len(units) / (1.0 / counts).sum()),
        means_variance=float(means.var(ddof=1)) if len(units) > 1 else float("nan"),
        keys_variance=squares / dof,
        keys_dof=dof,
    )


def _half_widths(told: TwoLevels, coverage: float) -> FloatArray:
    """Return the half-width needed for each of the draws of what the truth may be."""
    normal = _draws()["middle"]
    dof = told.units - 1.0
    means_variance = told.means_variance * _too_small_by(dof, "units")
    keys_variance = told.keys_variance * _too_small_by(told.keys_dof, "keys")
    spread = np.sqrt(means_variance + keys_variance * (1.0 - 1.0 / told.keys))
    errors = np.abs(normal) * np.sqrt(means_variance / told.units) / np.where(spread > 0.0, spread, 1.0)
    errors_at, needed = _needed(coverage)
    beyond = np.maximum(0.0, errors - errors_at[-1])
    return np.asarray(spread * (np.interp(errors, errors_at, needed) + beyond))


@lru_cache(maxsize=8)
def _needed(coverage: float) -> tuple[FloatArray, FloatArray]:
    errors = np.arange(0.0, ERRS_TO + TABLE_STEP, TABLE_STEP)
    needed = half_width_needed(errors, coverage)
    read_only(errors, needed)
    return errors, needed


@lru_cache(maxsize=64)
def _too_small_by(dof: float, level: str) -> FloatArray:
    """Return for each draw how many times as large as the variance seen the true one is."""
    factors = np.asarray(dof / chdtri(dof, _draws()[level]))
    read_only(factors)
    return factors


@lru_cache(maxsize=1)
def _draws() -> dict[str, FloatArray]:
    """Return a normal number and two uniform ones, (n,) each, that fill their cube evenly."""
    from scipy.stats.qmc import Sobol

    cube = Sobol(3, scramble=True, rng=SEED).random_base2(POWER_OF_DRAWS)
    drawn = {"middle": np.asarray(ndtri(cube[:, 0])), "units": cube[:, 1].copy(), "keys": cube[:, 2].copy()}
    read_only(*drawn.values())
    return drawn
