"""Statistical tolerance intervals: between which limits a stated share of all values lies, as some of them tell.

How it works: with a confidence `confidence` the interval mean - k sd .. mean + k sd (or one end of it) holds at least
the share `coverage` of a normal population whose mean and standard deviation are both only known from the values. One
end: a quantile of the noncentral t. Both ends: given how far the mean erred, the half-width needed is the root of a
noncentral chi-square quantile and the chance that k sd reaches it is one of chi-square; that chance is averaged over
the mean's error. Both are exact.
Without assuming the bell curve, extremes of the values are the limits: the share between them has a beta distribution,
whatever theirs is.
Sources: ISO 16269-6:2014 (5, annexes E and F; clause 6 for order statistics), held against its tables; Wilks, Ann.
Math. Stat. 12:91, 1941. Clauses from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import bdtr, betaincinv, chdtrc, chndtrix, nctdtrit, ndtri

from processing.stages import FloatArray

MEAN_ERRS_TO = 7.0
"""Standard errors over which the mean's error is averaged; beyond lies less than 1e-11."""
NODES = 48
"""Of the quadrature over the mean's error: the tables are met to all their digits."""
MOST_VALUES = 1_000_000
"""More are not asked for; the answer is then None."""


@dataclass(frozen=True, slots=True)
class ByOrder:
    """The interval between two order statistics."""

    cut: int
    """Values that lie outside it, of both ends together, or of the one that has a limit; 0: the extremes are it."""
    confidence: float
    """That at least the stated share lies within."""
    surely_covers: float
    """The share that lies within with the confidence that was asked for."""
    enough: bool
    """Whether `confidence` is at least what was asked for."""


def two_sided_factor(count: float, coverage: float, confidence: float, *, dof: float | None = None) -> float:
    """Return k of mean +- k sd. count: values that the mean rests on, need not be whole; dof: of sd, count - 1 if None.

    >>> round(two_sided_factor(10, 0.95, 0.95), 3)
    3.394
    """
    _check(coverage, confidence)
    freedom = _freedom(count, dof)
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    errors = MEAN_ERRS_TO / 2.0 * (nodes + 1.0)
    share = MEAN_ERRS_TO * weights * np.exp(-(errors**2) / 2.0) / math.sqrt(2.0 * math.pi)
    needed = half_width_needed(errors / math.sqrt(count), coverage)

    def too_much(k: float) -> float:
        return float(share @ chdtrc(freedom, freedom * (needed / k) ** 2)) - confidence

    low = high = float(ndtri((1.0 + coverage) / 2.0))
    while too_much(low) > 0.0:
        low /= 2.0
    while too_much(high) <= 0.0:
        high *= 2.0
    return float(brentq(too_much, low, high, xtol=1e-12, rtol=1e-13))


def one_sided_factor(count: float, coverage: float, confidence: float, *, dof: float | None = None) -> float:
    """Return k of the one limit mean + k sd (or mean - k sd); arguments as of `two_sided_factor`.

    >>> round(one_sided_factor(43, 0.90, 0.99), 3)
    1.874
    """
    _check(coverage, confidence)
    root = math.sqrt(count)
    return float(nctdtrit(_freedom(count, dof), float(ndtri(coverage)) * root, confidence)) / root


def half_width_needed(errors: FloatArray, coverage: float) -> FloatArray:
    """Return how wide an interval must be on either side to hold `coverage` of a standard normal if its middle errs.

    errors (n,): of the middle, in standard deviations; result (n,), in the same.
    """
    return np.asarray(np.sqrt(chndtrix(coverage, 1.0, errors**2)))


def by_order(count: int, coverage: float, confidence: float, *, ends: int = 2) -> ByOrder:
    """Return the narrowest order statistics interval of `count` values that holds `coverage` with `confidence`.

    ends: 2: a limit on both sides; 1: on one. If there are too few values for the confidence, the extremes.
    """
    _check(coverage, confidence)
    outside = ends
    while outside < count and _confidence_by_order(count, outside + 1, coverage) >= confidence:
        outside += 1
    reached = _confidence_by_order(count, outside, coverage)
    surely = float(betaincinv(count + 1 - outside, outside, 1.0 - confidence)) if count >= outside else 0.0
    return ByOrder(outside - ends, reached, surely, reached >= confidence)


def values_for_order(coverage: float, confidence: float, *, ends: int = 2) -> int:
    """Return how many values it takes for their extremes to hold `coverage` with `confidence`.

    >>> values_for_order(0.95, 0.95), values_for_order(0.95, 0.95, ends=1)
    (93, 59)
    """
    _check(coverage, confidence)
    found = smallest(lambda count: _confidence_by_order(count, ends, coverage) >= confidence, ends)
    if found is None:
        raise ValueError(f"a coverage of {coverage} takes more than {MOST_VALUES} values: ask for less")
    return found


def values_for_factor(coverage: float, confidence: float, *, ends: int = 2, excess: float = 0.1) -> int | None:
    """Return how many values bring k within a share `excess` of what endless values would have; None: too many."""
    limiting = float(ndtri((1.0 + coverage) / 2.0 if ends == 2 else coverage))
    factor = two_sided_factor if ends == 2 else one_sided_factor
    return smallest(lambda count: factor(count, coverage, confidence) <= (1.0 + excess) * limiting, 2)


def smallest(enough: Callable[[int], bool], fewest: int) -> int | None:
    """Return the smallest count from `fewest` on that is enough, given that all larger ones are; None: beyond all."""
    high = fewest
    while not enough(high):
        high *= 2
        if high > MOST_VALUES:
            return None
    low = max(fewest, high // 2)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle + 1, high)
    return low


def _confidence_by_order(count: int, outside: int, coverage: float) -> float:
    """Return the probability that at least `coverage` lies in all but `outside` of the count + 1 gaps of the values."""
    return 1.0 - float(bdtr(outside - 1, count, 1.0 - coverage)) if count >= outside else 0.0


def _freedom(count: float, dof: float | None) -> float:
    freedom = count - 1.0 if dof is None else dof
    if not (count > 0.0 and freedom > 0.0):
        raise ValueError(
            f"{count:g} values with {freedom:g} degrees of freedom tell no spread: give two values at least"
        )
    return freedom


def _check(coverage: float, confidence: float) -> None:
    if not (0.0 < coverage < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError(f"coverage {coverage} and confidence {confidence} must lie between 0 and 1: give such")
