"""How many times the tolerance holds the process: Cp, Cpk, Pp, Ppk with intervals; by quantiles where it is not normal.

How it works: "within" rests on the spread from one unit to the next (mean moving range), "overall" on the standard
deviation of all units. Cp and Pp are (upper - lower) / 6 sigma, Cpk and Ppk the worse of the two sides over 3 sigma;
with one limit only the second kind is known. Where Shapiro & Wilk's test speaks against normal values, quantiles
take the place of mean and three sigma (0.135, 50 and 99.865 %): those of a Pearson curve of type III with the units'
mean, standard deviation and skewness, for so rare quantiles are not seen in some hundred units; intervals are drawn
(bootstrap, turned about the value on a log scale). That follows a skew, not heavy tails of both sides, and for skews as
large as an exponential distribution's the intervals hold in 80 to 85 of 100 cases only (100 to 400 units, tried).
Spread of measuring is part of the spread: a poor rig makes a capable process look less so.
Sources: e-Handbook 6.1.6 (indices; intervals: Cp by chi-square, Cpk by Bissell's approximation, from memory);
percentile method as in ISO 22514-2, with Pearson curves by moments as in Clements 1989 (from memory); Shapiro & Wilk
by scipy; degrees of freedom
of a mean moving range: 0.62 (n - 1), by its variance under normal values (from memory, held by simulation in tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, ndtr
from scipy.stats import chi2, norm, pearson3, shapiro, skew

from processing.control.charts import baseline_of
from processing.stages import FloatArray

FEWEST = 10
"""Units: with fewer the interval of an index is wider than what it could tell (own choice)."""
QUANTILES = tuple(ndtr([-3.0, 0.0, 3.0]).tolist())
MOVING_RANGE_DOF = 0.62
MOST_TESTED = 5000
"""What the approximation of the test's p is made for; of more values every second, third ... is taken."""
DRAWS, SEED = 1000, 20
LEAST_SKEW = 1e-3
"""Under it a Pearson curve of type III is a normal one to six digits."""


@dataclass(frozen=True, slots=True)
class Index:
    """One index with its two-sided interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """The indices of one measurand; None: one limit alone does not make it."""

    count: int
    mean: float
    sigma_within: float
    sigma_overall: float
    cp: Index | None
    cpk: Index
    pp: Index | None
    ppk: Index
    by: str
    """"normal values" or "quantiles": what pp and ppk rest on."""
    normal_p: float
    """Of Shapiro & Wilk's test: so rarely would normal values look so little normal."""
    beyond: float
    """Share of units expected beyond the limits, if they go on like this."""


def capability(
    values: FloatArray,
    *,
    lower: float | None,
    upper: float | None,
    coverage: float = 0.95,
    normal_alpha: float = 0.01,
) -> Capability:
    """Return the indices of units (N,), oldest first, against limits; one may be None. Raises ValueError.

    normal_alpha: under this p of the test for normal values quantiles take over.
    """
    values = values[np.isfinite(values)]
    _demand(values, lower, upper)
    normal_p = probability_if_normal(values)
    within = baseline_of(values).sigma
    mean, overall, count = float(values.mean()), float(values.std(ddof=1)), len(values)
    dof = MOVING_RANGE_DOF * (count - 1)
    normal = normal_p >= normal_alpha
    pp, ppk, beyond = (
        (*normal_indices(mean, overall, count, count - 1, lower=lower, upper=upper, coverage=coverage),
         _beyond(mean, overall, lower, upper))
        if normal
        else _by_quantiles(values, lower, upper, coverage)
    )  # fmt: skip
    cp, cpk = normal_indices(mean, within, count, dof, lower=lower, upper=upper, coverage=coverage)
    return Capability(
        count=count, mean=mean, sigma_within=within, sigma_overall=overall, cp=cp, cpk=cpk, pp=pp, ppk=ppk,
        by="normal values" if normal else "quantiles", normal_p=normal_p, beyond=beyond,
    )  # fmt: skip


def probability_if_normal(values: FloatArray) -> float:
    """Return how rarely normal values look so little normal: p of Shapiro & Wilk's test, of at most 5000 of them."""
    every = -(-len(values) // MOST_TESTED)
    return float(shapiro(values[::every]).pvalue)


def normal_indices(
    mean: float,
    sigma: float,
    count: int,
    dof: float,
    *,
    lower: float | None,
    upper: float | None,
    coverage: float = 0.95,
) -> tuple[Index | None, Index]:
    """Return Cp and Cpk (or Pp and Ppk) of normal values; sigma rests on `dof` degrees of freedom.

    >>> both, worse = normal_indices(16.0, 2.0, 50, 49, lower=8.0, upper=20.0)
    >>> both.value, round(worse.value, 4)
    (1.0, 0.6667)
    """
    sides = [off / (3.0 * sigma) for off in _rooms(mean, lower, upper)]
    both = None
    if lower is not None and upper is not None:
        both = _with_chi_square((upper - lower) / (6.0 * sigma), dof, coverage)
    worse = min(sides)
    half = float(norm.ppf(0.5 + coverage / 2.0)) * math.sqrt(1.0 / (9.0 * count) + worse**2 / (2.0 * dof))
    return both, Index(worse, worse - half, worse + half)


def _with_chi_square(value: float, dof: float, coverage: float) -> Index:
    low, high = (float(chi2.ppf(0.5 + side * coverage / 2.0, dof)) for side in (-1.0, 1.0))
    return Index(value, value * math.sqrt(low / dof), value * math.sqrt(high / dof))


def _rooms(middle: float, lower: float | None, upper: float | None) -> list[float]:
    """Return the room from the middle to each limit there is."""
    rooms = [] if lower is None else [middle - lower]
    return rooms if upper is None else [*rooms, upper - middle]


def _beyond(mean: float, sigma: float, lower: float | None, upper: float | None) -> float:
    below = 0.0 if lower is None else float(norm.cdf(lower, mean, sigma))
    above = 0.0 if upper is None else float(norm.sf(upper, mean, sigma))
    return below + above


def _by_quantiles(
    values: FloatArray, lower: float | None, upper: float | None, coverage: float
) -> tuple[Index | None, Index, float]:
    """Return Pp, Ppk and the share beyond the limits from quantiles, with intervals from drawing units anew."""
    drawn = np.random.default_rng(SEED).choice(values, (DRAWS, len(values)))
    low, middle, high = _quantiles(values[None, :], np.array(QUANTILES))[0].tolist()
    below, mid, above = _quantiles(drawn, np.array(QUANTILES)).T
    worse, of_drawn = np.inf, np.full(DRAWS, np.inf)
    if lower is not None:
        worse, of_drawn = (middle - lower) / (middle - low), (mid - lower) / (mid - below)
    if upper is not None:
        worse = min(worse, (upper - middle) / (high - middle))
        of_drawn = np.minimum(of_drawn, (upper - mid) / (above - mid))
    both = None
    if lower is not None and upper is not None:
        both = _turned((upper - lower) / (high - low), (upper - lower) / (above - below), coverage)
    return both, _turned(float(worse), of_drawn, coverage), _share_beyond(values, lower, upper)


def _turned(value: float, drawn: FloatArray, coverage: float) -> Index:
    """Return an index with its interval: as far as drawn ones lie above the value the truth lies below it.

    On a log scale while all are positive, else by differences.
    """
    low, high = np.quantile(drawn, (0.5 - coverage / 2.0, 0.5 + coverage / 2.0)).tolist()
    if low > 0.0 and value > 0.0:
        return Index(value, value**2 / high, value**2 / low)
    return Index(value, 2.0 * value - high, 2.0 * value - low)


def _quantiles(values: FloatArray, at: FloatArray) -> FloatArray:
    """Return quantiles of Pearson curves of type III with the moments of each row: (M, N) and (K,) to (M, K).

    Such a curve is a shifted gamma distribution of shape 4 / skew^2, turned round for a negative skew.
    """
    lean = np.asarray(skew(values, axis=1, bias=False))[:, None]
    lean = np.where(np.abs(lean) < LEAST_SKEW, LEAST_SKEW, lean)
    shape = 4.0 / lean**2
    raised = gammaincinv(shape, np.where(lean > 0.0, at, 1.0 - at))
    standard = np.sign(lean) * (raised - shape) / np.sqrt(shape)
    quantiles: FloatArray = values.mean(axis=1)[:, None] + values.std(axis=1, ddof=1)[:, None] * standard
    return quantiles


def _share_beyond(values: FloatArray, lower: float | None, upper: float | None) -> float:
    curve = pearson3(skew(values, bias=False), float(values.mean()), float(values.std(ddof=1)))
    return (0.0 if lower is None else float(curve.cdf(lower))) + (0.0 if upper is None else float(curve.sf(upper)))


def _demand(values: FloatArray, lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise ValueError("capability needs a limit, lower or upper or both")
    if lower is not None and upper is not None and not lower < upper:
        raise ValueError(f"the lower limit {lower:g} is not below the upper limit {upper:g}")
    if len(values) < FEWEST:
        raise ValueError(f"{len(values)} units are too few for an index; {FEWEST} at least")
    if float(values.std()) == 0.0:
        raise ValueError("all units have the same value; there is no spread to compare with the limits")
