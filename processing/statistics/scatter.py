"""How far keys scatter about a trend, and how well that is known.

How it works: residuals are a matrix times the values, so the expectation of their sum of squares and its degrees of
freedom follow from the matrix and from how neighbours correlate. The rig's own variance is taken off; the interval is
that of the residual variance (chi-square) with the same variance taken off, never below 0.
Sources: Satterthwaite, Biometrics Bull. 2:110, 1946; intervals for a variance less a known one, and for the ratio of
two such: generalised pivots, Weerahandi, JASA 88:899, 1993; without own variance the ratio's is the F test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc
from scipy.stats import chi2

from processing.stages import FloatArray

PIVOTS = 400
"""Quantiles of one chi-square over which the other is averaged; more change the fourth digit of a probability."""
WIDEST_RATIO = 1e3
HALVINGS = 30
"""Halvings of the logarithm of a million: to 1e-8."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """Variance of keys about their trend, the measurement's own part still in it."""

    variance: float
    dof: float
    own_variance: float
    """Of the measurement: what keys would scatter if all were alike."""
    count: int

    @property
    def spread(self) -> float:
        """Standard deviation of the keys themselves; 0 if the rig's own explains all."""
        return float(np.sqrt(max(0.0, self.variance - self.own_variance)))

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Return the interval of `spread`."""
        tail = (1.0 - coverage) / 2.0
        squares = self.variance * self.dof / chi2.ppf([1.0 - tail, tail], self.dof) - self.own_variance
        low, high = np.sqrt(np.maximum(squares, 0.0))
        return float(low), float(high)


@dataclass(frozen=True, slots=True)
class SpreadRatio:
    """How many times as wide one keyboard scatters as another."""

    ratio: float
    low: float
    high: float
    p: float
    """Two-sided probability of a ratio so far from 1 if both scatter alike."""


def scatter_of(
    residual_matrix: FloatArray, residuals: FloatArray, own_u: FloatArray, correlation: FloatArray, *, whole: bool
) -> Scatter:
    """Return the scatter, given residuals (k,) = residual_matrix (k, n) @ values of unit correlation (n, n).

    whole: True: the variance of the values, with what the trend has followed of their slow wandering; False: of what is
    seen about the trend. The degrees of freedom follow from the correlation either way.
    """
    form = residual_matrix.T @ residual_matrix
    seen = form @ correlation
    dof = float(np.trace(seen)) ** 2 / float(np.trace(seen @ seen))
    expected = float(np.trace(seen if whole else form))
    return Scatter(float(residuals @ residuals) / expected, dof, float(np.mean(own_u**2)), len(residuals))


def ratio_of_spreads(first: Scatter, second: Scatter, coverage: float = 0.95) -> SpreadRatio | None:
    """Return the spread of the second over that of the first; None if the rig explains all scatter of both.

    If it explains all of one, the ratio is WIDEST_RATIO or one over it, and an end of its interval says how far it is.
    None, too, if the numbers of one are all alike: they are read in steps, and say nothing of a scatter.
    """
    if first.spread == second.spread == 0.0 or 0.0 in (first.variance, second.variance):
        return None
    ratio = second.spread / first.spread if first.spread > 0.0 else WIDEST_RATIO
    tail = (1.0 - coverage) / 2.0
    levels = (np.arange(PIVOTS) + 0.5) / PIVOTS
    true_first = first.variance * first.dof / chi2.ppf(levels, first.dof) - first.own_variance
    pivot = _Pivot(np.maximum(true_first, 0.0), second)
    below_one = pivot.probability_below(1.0)
    return SpreadRatio(
        float(np.clip(ratio, 1.0 / WIDEST_RATIO, WIDEST_RATIO)),
        pivot.quantile(tail),
        pivot.quantile(1.0 - tail),
        float(min(1.0, 2.0 * min(below_one, 1.0 - below_one))),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Pivot:
    """The fiducial distribution of a ratio: what the first variance may be, all alike probable, and the second."""

    true_first: FloatArray
    second: Scatter

    def probability_below(self, ratio: float) -> float:
        """Return the probability that the true ratio lies below `ratio`."""
        needed = self.second.variance * self.second.dof / (self.second.own_variance + ratio**2 * self.true_first)
        return float(np.mean(chdtrc(self.second.dof, needed)))

    def quantile(self, probability: float) -> float:
        """Return the ratio below which the true one lies with a probability, by halving on a logarithmic scale."""
        low, high = 1.0 / WIDEST_RATIO, WIDEST_RATIO
        for _ in range(HALVINGS):
            middle = float(np.sqrt(low * high))
            if self.probability_below(middle) < probability:
                low = middle
            else:
                high = middle
        return float(np.sqrt(low * high))
