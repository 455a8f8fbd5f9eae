"""How far a 95 % interval reaches when much of its uncertainty is a bound and not a bell.

How it works: a bound of half-width a, taken as rectangular, has no tails: 95 % of it lie within 0.95 a, not within
1.96 a / sqrt(3) = 1.13 a. For one rectangular part beside all others, taken as normal, the coverage of +- U has a
closed form, which is solved for U.
Source: convolution of a rectangular and a normal density; its limits are 1.96 and 0.95 sqrt(3) = 1.65, the factor of
EA-4/02 M:2022, S9.14 for a dominant rectangular part (from memory). JCGM 101:2008 9.4 shows the same effect.
"""

from __future__ import annotations

from functools import cache
from math import exp, pi, sqrt

from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

LEAST_SHARE = 0.05
"""A rectangular part under this share of the whole changes no digit of the factor."""


def factor_share(rectangular_u: float, whole_u: float, coverage: float) -> float:
    """Return the coverage factor as a share of the normal one, 1 or a little less.

    rectangular_u: standard uncertainty of the largest rectangular part; whole_u: of everything, it included.
    """
    if whole_u <= 0.0:
        return 1.0
    return _share(round(min(rectangular_u / whole_u, 1.0), 2), coverage)


@cache
def _share(rectangular_share: float, coverage: float) -> float:
    normal = float(ndtri(0.5 + coverage / 2.0))
    if rectangular_share < LEAST_SHARE:
        return 1.0
    half_width, sigma = rectangular_share * sqrt(3.0), sqrt(max(1.0 - rectangular_share**2, 1e-8))
    reach = brentq(lambda reach: covered(reach, half_width, sigma) - coverage, 0.1, 10.0)
    return float(reach) / normal


def covered(reach: float, half_width: float, sigma: float) -> float:
    """Return the probability that rectangular +- half_width plus normal sigma lies within +- reach, all in one unit.

    >>> round(covered(0.95, 1.0, 1e-9), 6)
    0.95
    >>> round(covered(1.959964, 1e-6, 1.0), 6)
    0.95
    """
    return float((_integral(reach + half_width, sigma) - _integral(reach - half_width, sigma)) / half_width - 1.0)


def _integral(until: float, sigma: float) -> float:
    """Return the integral of the normal distribution function from minus infinity."""
    density = exp(-((until / sigma) ** 2) / 2.0) / sqrt(2.0 * pi)
    return float(until * ndtr(until / sigma) + sigma * density)
