"""The distribution of a measurand by Monte Carlo, and whether it bears out what the law of propagation has said.

How it works: trials are drawn in batches of 10 000 until twice the standard error of each result (from the scatter
between batches) is under the numerical tolerance. The GUM's interval is borne out if both its ends lie within delta of
the Monte Carlo ends; for that test results are wanted to delta / 5. Where the trials end before that, the verdict is
given only if it would hold with twice the standard errors either way.
Source: JCGM 101:2008, 7.7 (intervals), 7.9 (adaptive procedure, delta), 8.1 and 8.2 (validation).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import floor
from typing import Literal

import numpy as np

from processing.budget.lines import Budget
from processing.budget.propagation import combine
from processing.budget.sampling import FloatArray, draw_measurand

BATCH = 10_000
FEWEST_TRIALS, MOST_TRIALS = 2 * BATCH, 10_000_000
"""Two batches show a scatter; ten million values are 80 MB."""
Agreement = Literal["agree", "differ", "open"]
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """What trials have shown, in the measurand's unit."""

    trials: int
    mean: float
    u: float | None
    """None: the distribution has no standard deviation (a t of two degrees of freedom or fewer is part of it)."""
    symmetric: Interval
    """Probabilistically symmetric coverage interval."""
    shortest: Interval
    low_error: float
    """Standard error of the symmetric interval's lower end, from the scatter between batches."""
    high_error: float
    settled: bool
    """Every result is within the tolerance asked for."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """The GUM's interval beside the one of Monte Carlo."""

    gum: Interval
    monte_carlo: MonteCarlo
    tolerance: float
    """delta: half a unit of the last digit that is meant."""
    low_off: float
    """d_low of JCGM 101, 8.1."""
    high_off: float
    agreement: Agreement
    """open: too few trials to tell."""


def tolerance_of(u: float, digits: int) -> float:
    """Return delta: half a unit of the last of so many significant digits of u (JCGM 101, 7.9.2); 0 for u = 0.

    >>> tolerance_of(0.00035, 2)
    5e-06
    """
    if u <= 0.0:
        return 0.0
    exponent = int(f"{u:.{digits - 1}e}".split("e")[1])  # of the rounded number: 9.96 to two digits is 10
    return 0.5 * 10.0 ** (exponent - digits + 1)


def symmetric_interval(ordered: FloatArray, coverage: float) -> Interval:
    """Return the ends with as many trials below as above. ordered: trials in rising order, shape (N,), N >= 2."""
    count = len(ordered)
    inside = _inside(count, coverage)
    first = (count - inside) // 2
    return float(ordered[first]), float(ordered[min(first + inside, count - 1)])


def shortest_interval(ordered: FloatArray, coverage: float) -> Interval:
    """Return the shortest of all intervals that hold the coverage. ordered: trials in rising order, N >= 2."""
    inside = min(_inside(len(ordered), coverage), len(ordered) - 1)
    first = int(np.argmin(ordered[inside:] - ordered[: len(ordered) - inside]))
    return float(ordered[first]), float(ordered[first + inside])


def _inside(count: int, coverage: float) -> int:
    return floor(coverage * count + 0.5)


def run_trials(
    draw: Callable[[int], FloatArray],
    *,
    coverage: float,
    most_trials: int,
    digits: int = 2,
    tolerance: float | None = None,
    has_u: bool = True,
) -> MonteCarlo:
    """Return the results of as many trials as it takes, `most_trials` at most (whole batches).

    draw: returns so many values of the measurand. tolerance: for every result, in its unit; None: of so many digits of
    the trials' own u. has_u False: mean and standard deviation are not waited for, since the latter does not exist.
    Raises ValueError if most_trials is less than two batches.
    """
    if most_trials < FEWEST_TRIALS:
        raise ValueError(f"{most_trials} trials cannot show their own scatter; {FEWEST_TRIALS} can")
    batches: list[FloatArray] = []
    results: list[tuple[float, ...]] = []
    settled = False
    while len(batches) < most_trials // BATCH and not settled:
        batches.append(np.sort(draw(BATCH)))
        results.append(_results(batches[-1], coverage))
        if len(batches) > 1:
            errors = np.std(results, axis=0, ddof=1) / np.sqrt(len(results))
            wanted = tolerance if tolerance is not None else tolerance_of(_pooled_u(results), digits)
            settled = bool(np.all(2.0 * errors[0 if has_u else 2 :] <= wanted))
    ordered = np.sort(np.concatenate(batches))
    mean, u, _, _ = _results(ordered, coverage)
    return MonteCarlo(
        len(ordered),
        mean,
        u if has_u else None,
        symmetric_interval(ordered, coverage),
        shortest_interval(ordered, coverage),
        float(errors[2]),
        float(errors[3]),
        settled,
    )


def _results(ordered: FloatArray, coverage: float) -> tuple[float, ...]:
    return float(np.mean(ordered)), float(np.std(ordered, ddof=1)), *symmetric_interval(ordered, coverage)


def _pooled_u(results: list[tuple[float, ...]]) -> float:
    """Return the standard deviation of the trials of all batches together."""
    means, us = np.array(results)[:, 0], np.array(results)[:, 1]
    return float(np.sqrt(np.mean(us**2) + np.var(means)))


def compare(budget: Budget, *, coverage: float, most_trials: int, seed: int, digits: int = 2) -> Comparison:
    """Return whether the budget's interval by the law of propagation is borne out by Monte Carlo over the same lines.

    digits: of the standard uncertainty, that are meant. Raises ValueError as `run_trials` and `draw_measurand` do.
    """
    total = combine(budget)
    half = total.u * total.coverage_factor(coverage)
    random = np.random.default_rng(seed)
    delta = tolerance_of(total.u, digits)
    found = run_trials(
        lambda count: draw_measurand(random, budget, count),
        coverage=coverage,
        most_trials=most_trials,
        tolerance=delta / 5.0,
        has_u=_has_u(budget),
    )
    return judge((budget.value - half, budget.value + half), found, delta)


def _has_u(budget: Budget) -> bool:
    return all(line.distribution != "t" or line.dof > 2.0 for line in budget.lines if line.contribution != 0.0)


def judge(gum: Interval, found: MonteCarlo, tolerance: float) -> Comparison:
    """Return the comparison of a stated interval with what trials have shown (JCGM 101, 8.1)."""
    low_off, high_off = (abs(stated - shown) for stated, shown in zip(gum, found.symmetric, strict=True))
    doubts = (0.0, 0.0) if found.settled else (2.0 * found.low_error, 2.0 * found.high_error)
    offs = tuple(zip((low_off, high_off), doubts, strict=True))
    agreement: Agreement = "open"
    if all(off + doubt <= tolerance for off, doubt in offs):
        agreement = "agree"
    elif any(off - doubt > tolerance for off, doubt in offs):
        agreement = "differ"
    return Comparison(gum, found, tolerance, low_off, high_off, agreement)
