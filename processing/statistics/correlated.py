"""The mean of values along the keyboard, when neighbours resemble each other.

How it works: the values are seen about a line in the place, so a difference that runs along the keyboard is no noise.
What is left is projected on a few slow cosines; their mean square estimates the variance of slow variation, which is
what a mean suffers from, and divided by it the mean has a Student's t with as many degrees of freedom as cosines. That
is exact for independent values whatever their places. If values fade into each other as r^distance, slow cosines still
see a little less than the mean suffers; the factor follows from r. r itself is taken from the signs of second
differences, over all keys of both colours: neither a trend, nor a step, nor an odd key moves it much.
Sources: cosines: Mueller, J. Econometrics 141:1331, 2007; Lazarus, Lewis, Stock & Watson, J. Bus. Econ. Stat. 36:541,
2018; sine law of signs: Sheppard, Phil. Trans. 192:101, 1899; the factor for r is our own, and `make error-rates` shows
that the intervals hold.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.stats import t as student_t

from processing.budget.propagation import MOST_DOF
from processing.stages import FloatArray

Places = tuple[int, ...]
"""Where values lie, counted in keys of one colour from the left; rising."""
FEWEST = 5
"""Values for a mean with a scatter of its own."""
GREATEST_FADING = 0.85
"""More cannot be told from a trend."""
COSINES_A_POWER, COSINES_AT_LEAST = 0.55, 1.5
"""Cosines: 0.55 n^(2/3) + 1.5: more lose robustness, fewer lose power. 5 of 14 keys, 9 of 52."""
BELIEVED_SIGN, BELIEVED_PAIRS = -0.262, 8.0
"""Before any data: as many pairs of second differences as for a fading of 0.2; keeps few keys from wild guesses."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its standard uncertainty, in its own unit, and degrees of freedom."""

    value: float
    u: float
    dof: float

    def expanded(self, coverage: float = 0.95) -> float:
        """Return the half-width of the interval."""
        return self.u * float(student_t.ppf(0.5 + coverage / 2.0, self.dof))

    @property
    def p(self) -> float:
        """Two-sided probability of so much or more if the true value were 0."""
        if self.u == 0.0:
            return 1.0 if self.value == 0.0 else 0.0
        return float(2.0 * student_t.sf(abs(self.value) / self.u, self.dof))

    def with_common(self, u: float, dof: float) -> Estimate:
        """Return the same number with a part that is independent of the first: Welch-Satterthwaite (GUM G.4.1)."""
        total = float(np.hypot(self.u, u))
        weighted = self.u**4 / self.dof + u**4 / dof
        return Estimate(self.value, total, min(MOST_DOF, total**4 / weighted) if weighted > 0.0 else MOST_DOF)


def fading_of(runs: Iterable[tuple[Places, FloatArray]]) -> float:
    """Return how strongly next neighbours correlate, 0 to GREATEST_FADING, from values of one or more colours.

    If values are an AR(1), their second differences next to each other correlate by (r - 1) / 2.
    """
    agreement, pairs = BELIEVED_SIGN * BELIEVED_PAIRS, BELIEVED_PAIRS
    for places, values in runs:
        steps, apart = np.diff(values), np.diff(places)
        both = (apart[:-1] == 1) & (apart[1:] == 1)
        agreement += float(np.sum(np.sign(steps[:-1]) * np.sign(steps[1:]), where=both))
        pairs += float(np.count_nonzero(both))
    correlation = np.sin(np.pi / 2.0 * agreement / pairs)
    return float(np.clip(round(1.0 + 2.0 * correlation, 2), 0.0, GREATEST_FADING))


def correlation_matrix(places: Places, fading: float) -> FloatArray:
    """Return r^distance for all pairs of places, shape (n, n)."""
    at = np.array(places, np.float64)
    apart = np.abs(at[:, None] - at[None, :])
    matrix: FloatArray = np.where(apart == 0.0, 1.0, fading**apart)
    return matrix


@lru_cache(maxsize=1024)
def slow_cosines(places: Places, fading: float) -> tuple[FloatArray, float]:
    """Return cosines (n, B) of length 1, free of lines in the place, and the factor for a fading.

    Raises ValueError for fewer than FEWEST places.
    """
    count = len(places)
    if count < FEWEST:
        raise ValueError(f"{count} places; a mean with its own scatter needs {FEWEST}")
    cosines = min(count - 2, round(COSINES_A_POWER * count ** (2.0 / 3.0) + COSINES_AT_LEAST))
    share = (np.arange(count) + 0.5) / count
    at = np.array(places, np.float64)
    waves = [np.cos(np.pi * power * share) for power in range(2, cosines + 2)]
    basis = np.linalg.qr(np.array([np.ones(count), at - at.mean(), *waves]).T)[0][:, 2:]
    matrix = correlation_matrix(places, fading)
    suffered = float(matrix.sum()) / count
    seen = float(np.mean(np.einsum("ib,ij,jb->b", basis, matrix, basis)))
    basis.setflags(write=False)
    return basis, suffered / seen


def mean_of(places: Places, values: FloatArray, fading: float) -> Estimate:
    """Return the mean of values (n,) in their places with the uncertainty that their scatter gives it.

    >>> mean_of((0, 1, 2, 3, 4), np.array([1.0, 2.0, 3.0, 4.0, 5.0]), 0.0).value
    3.0
    """
    basis, factor = slow_cosines(places, fading)
    slow = float(np.mean((values @ basis) ** 2)) * factor
    return Estimate(float(np.mean(values)), float(np.sqrt(slow / len(values))), float(basis.shape[1]))
