"""Draws the inputs of a budget, for Monte Carlo.

How it works: each distribution is drawn about 0 with a stated standard uncertainty; correlated lines are drawn
together from a joint normal distribution, whatever their degrees of freedom.
Source: JCGM 101:2008, 6.4 (rectangular 6.4.2, triangular 6.4.5, arcsine 6.4.6, normal 6.4.7 and 6.4.8, t 6.4.9).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from processing.budget.lines import Budget, Distribution
from processing.budget.propagation import correlation_matrix, groups

FloatArray = NDArray[np.float64]


def draw(
    random: np.random.Generator, distribution: Distribution, u: float, count: int, *, dof: float = np.inf
) -> FloatArray:
    """Return `count` deviations of an input from its estimate, in the unit of u. dof: of the t distribution only.

    u is the standard deviation, but of "t": its scale; the standard deviation is then u sqrt(dof / (dof - 2)).
    """
    match distribution:
        case "normal":
            drawn = random.standard_normal(count)
        case "t":
            drawn = random.standard_t(dof, count) if np.isfinite(dof) else random.standard_normal(count)
        case "rectangular":
            drawn = np.sqrt(3.0) * random.uniform(-1.0, 1.0, count)
        case "triangular":
            drawn = np.sqrt(6.0) * random.triangular(-1.0, 0.0, 1.0, count)
        case "arcsine":
            drawn = np.sqrt(2.0) * np.sin(2.0 * np.pi * random.random(count))
    deviations: FloatArray = u * drawn
    return deviations


def joint_normal(random: np.random.Generator, covariance: FloatArray, count: int) -> FloatArray:
    """Return deviations of inputs that err together, shape (count, L). Raises ValueError if that is no covariance."""
    return random.multivariate_normal(
        np.zeros(len(covariance)), covariance, count, check_valid="raise", method="eigh", tol=1e-6
    )


def draw_measurand(random: np.random.Generator, budget: Budget, count: int) -> FloatArray:
    """Return values that the measurand may have, shape (count,): its value plus the drawn lines by sensitivity.

    Raises ValueError if correlated lines are not normal: a joint distribution of others is not known.
    """
    values = np.full(count, budget.value)
    for group in groups(budget):
        if len(group) == 1:
            (line,) = group
            values += line.sensitivity * draw(random, line.distribution, line.u, count, dof=line.dof)
            continue
        if any(line.distribution != "normal" for line in group):
            raise ValueError(f"{budget.measurand}: correlated lines must be normal to be drawn together")
        given = np.array([line.contribution for line in group])
        covariance = np.outer(given, given) * correlation_matrix(budget, group)
        scale = float(np.max(np.abs(given))) or 1.0  # the check of the covariance is an absolute one
        values += scale * joint_normal(random, covariance / scale**2, count).sum(axis=1)
    return values
