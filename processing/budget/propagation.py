"""From lines to a combined and an expanded uncertainty, by the law of propagation.

How it works: u^2 = c^T V c. Lines that are correlated, directly or through others, form a group; groups are
independent of each other. Welch-Satterthwaite holds for independent parts only, so a group counts as one part: its
joint contribution, with the fewest degrees of freedom in it (exact where one fit gave them all, cautious otherwise).
Sources: GUM (JCGM 100:2008) 5.1.2, 5.2.2, G.4.1; the treatment of groups is our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.special import ndtri, stdtrit

from processing.budget.lines import Budget, Line

MOST_DOF = 1e6
"""More degrees of freedom than this change no digit of a coverage factor."""
ROUNDING = 1e-9
"""Share that rounding may take off: 8.999999999999998 degrees of freedom are 9, a variance a hair below 0 is 0."""


@dataclass(frozen=True, slots=True)
class Combined:
    """Combined standard uncertainty and its effective degrees of freedom."""

    u: float
    dof: float
    factor_share: float = 1.0

    def coverage_factor(self, coverage: float) -> float:
        """Return Student's t for these degrees of freedom, less where a bound dominates."""
        return coverage_factor(self.dof, coverage) * self.factor_share


def combine(budget: Budget) -> Combined:
    """Return combined standard uncertainty, in the measurand's unit, and effective degrees of freedom.

    Raises ValueError if the correlations contradict each other.
    >>> lines = [Line(name=n, kind="A", distribution="t", u=u, unit="N", dof=4.0) for n, u in (("a", 3.0), ("b", 4.0))]
    >>> combine(Budget(measurand="force", unit="N", value=0.0, lines=tuple(lines))).u
    5.0
    """
    parts = [_joint(budget, group) for group in groups(budget)]
    variance = sum(u**2 for u, _ in parts)
    weighted = sum(u**4 / dof for u, dof in parts)
    dof = min(MOST_DOF, variance**2 / weighted) if weighted > 0 else MOST_DOF
    return Combined(sqrt(variance), dof, budget.factor_share)


def groups(budget: Budget) -> list[tuple[Line, ...]]:
    """Return the lines in groups that are independent of each other, in the order of their first lines."""
    if not budget.correlations:
        return [(line,) for line in budget.lines]
    left = {line.name: line for line in budget.lines}
    found = []
    while left:
        reached = [next(iter(left))]
        for name in reached:  # grows while it is walked
            reached += [other for other in budget.correlated_with(name) if other not in reached]
        found.append(tuple(line for line in budget.lines if line.name in reached))
        left = {name: line for name, line in left.items() if name not in reached}
    return found


def correlation_matrix(budget: Budget, group: tuple[Line, ...]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return the correlation coefficients of some lines, shape (L, L)."""
    matrix = np.eye(len(group))
    for row, line in enumerate(group):
        related = budget.correlated_with(line.name)
        matrix[row] += [related.get(other.name, 0.0) for other in group]
    return matrix


def _joint(budget: Budget, group: tuple[Line, ...]) -> tuple[float, float]:
    """Return a group's standard uncertainty and degrees of freedom."""
    if len(group) == 1:
        return abs(group[0].contribution), group[0].dof
    given = np.array([line.contribution for line in group])
    variance = float(given @ correlation_matrix(budget, group) @ given)
    if variance < -ROUNDING * float(given @ given):
        raise ValueError(f"{budget.measurand}: these correlations contradict each other")
    return sqrt(max(variance, 0.0)), min(line.dof for line in group)


def shares(budget: Budget) -> dict[str, float]:
    """Return each line's share of the variance, by name; they add up to 1. A correlated line may have a negative one.

    Between two correlated lines the common term 2 c1 c2 u(1, 2) is halved.
    """
    variance = combine(budget).u ** 2
    if variance == 0.0:
        return {line.name: 0.0 for line in budget.lines}
    given = {line.name: line.contribution for line in budget.lines}
    return {
        name: (own**2 + sum(own * given[other] * r for other, r in budget.correlated_with(name).items())) / variance
        for name, own in given.items()
    }


def coverage_factor(dof: float, coverage: float) -> float:
    """Return Student's t for a two-sided interval; degrees of freedom are cut to a whole number first (GUM G.4.1).

    dof may be infinite: the normal distribution's factor.
    """
    if np.isinf(dof):
        return float(ndtri(0.5 + coverage / 2.0))
    return float(stdtrit(max(1, int(dof * (1.0 + ROUNDING))), 0.5 + coverage / 2.0))
