"""The mean of values along the keyboard, when neighbours resemble each other.

How it works: the values are seen about a parabola in the place: what runs or bulges along the keyboard is no noise.
What is left is projected on a few slow cosines; their mean square estimates the variance of slow variation, which is
what a mean suffers from, and divided by it the mean of independent values has a Student's t with as many degrees of
freedom as cosines. If values fade into each other as r^distance, slow cosines see a little less than the mean suffers,
and not all alike; the ratio's exact tail follows from r (`exact_tail.py`), its mean over the r that may be is what
counts, and a scaled t stands for it. r itself is taken from normal scores of the steps from key to key, over all keys
of both colours: neither a trend, nor one big step, nor an odd key moves it much.
Sources: cosines: Mueller, J. Econometrics 141:1331, 2007; Lazarus, Lewis, Stock & Watson, J. Bus. Econ. Stat. 36:541,
2018; parts together: Cochran & Cox, Experimental Designs, 1957 (from memory); normal scores: van der Waerden, Indag.
Math. 14:453, 1952; the mean over r is our own, and `make error-rates` shows that the intervals hold.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import stdtr, stdtrit
from scipy.stats import norm, rankdata

from processing.budget.propagation import MOST_DOF
from processing.stages import FloatArray
from processing.statistics.exact_tail import scaled_t, tail_of_ratio

Places = tuple[int, ...]
"""Where values lie, counted in keys of one colour from the left; rising."""
FEWEST = 5
"""Values for a mean with a scatter of its own."""
GREATEST_FADING = 0.85
"""More cannot be told from a trend."""
COSINES_A_POWER, COSINES_AT_LEAST = 0.75, 2.0
"""Cosines: 0.75 n^(2/3) + 2: more lose robustness, fewer lose power. 6 of 14 keys, 12 of 52."""
FADING_U, FADING_PAIRS, MOST_FADING_U = 0.17, 92.0, 0.25
"""Standard uncertainty of a fading that 88 keys have told, with their pairs of steps: simulated, at r = 0.3 to 0.5.
Fewer keys tell it less well; at most as badly as if it were anything that keyboards have."""
NORMAL_NODES, NORMAL_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
NORMAL_WEIGHTS = NORMAL_WEIGHTS / NORMAL_WEIGHTS.sum()
BELIEVED_FADING, BELIEVED_PAIRS = 0.2, 8.0
"""Before any data: as if so many pairs of steps had told this fading; keeps few keys from wild guesses."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its standard uncertainty, in its own unit, and degrees of freedom."""

    value: float
    u: float
    dof: float

    def expanded(self, coverage: float = 0.95) -> float:
        """Return the half-width of the interval."""
        return self.u * float(stdtrit(self.dof, 0.5 + coverage / 2.0))

    @property
    def p(self) -> float:
        """Two-sided probability of so much or more if the true value were 0."""
        if self.u == 0.0:
            return 1.0 if self.value == 0.0 else 0.0
        return float(2.0 * stdtr(self.dof, -abs(self.value) / self.u))

    def with_common(self, u: float, dof: float) -> Estimate:
        """Return the same number with a part that is independent of the first.

        Its degrees of freedom are the harmonic mean of both, weighted by the variances, as good as Cochran's weighted
        mean of Student's factors. Those of Welch and Satterthwaite are more than either part has, and most where one
        part is small by chance: wrong where few degrees of freedom meet a family of tests.
        """
        variance, added = self.u**2, u**2
        if variance + added == 0.0:
            return Estimate(self.value, 0.0, MOST_DOF)
        dof = (variance + added) / (variance / self.dof + added / dof)
        return Estimate(self.value, float(np.sqrt(variance + added)), min(MOST_DOF, dof))


def independent_parts(parts: FloatArray, dofs: FloatArray) -> tuple[float, float]:
    """Return what independent parts make together, and its degrees of freedom (Welch-Satterthwaite, GUM G.4.1)."""
    u = float(np.sqrt(np.sum(parts**2)))
    weighted = float(np.sum(parts**4 / dofs))
    return u, min(MOST_DOF, u**4 / weighted) if weighted > 0.0 else MOST_DOF


@dataclass(frozen=True, slots=True)
class Resemblance:
    """How strongly next neighbours correlate, and how well that is known."""

    fading: float
    """0 to GREATEST_FADING."""
    u: float = FADING_U

    def plausible(self) -> tuple[tuple[float, float], ...]:
        """Return the fadings that may be the true one, each with its weight.

        A normal distribution by Gauss and Hermite's nodes, cut to what a fading can be.
        """
        nodes = np.clip(self.fading + self.u * NORMAL_NODES, 0.0, GREATEST_FADING).tolist()
        return tuple(zip(nodes, NORMAL_WEIGHTS.tolist(), strict=True))


def fading_of(runs: Iterable[tuple[Places, FloatArray]]) -> float:
    """Return how strongly next neighbours correlate, 0 to GREATEST_FADING, as `resemblance_of`."""
    return resemblance_of(runs).fading


def resemblance_of(runs: Iterable[tuple[Places, FloatArray]]) -> Resemblance:
    """Return how next neighbours resemble each other, from values of one or more colours.

    If values are an AR(1), steps next to each other correlate by (r - 1) / 2.
    """
    together, pairs = (BELIEVED_FADING - 1.0) / 2.0 * BELIEVED_PAIRS, BELIEVED_PAIRS
    for places, values in runs:
        steps, apart = np.diff(values), np.diff(places)
        scores = _signed_scores(steps - np.median(steps)) if len(steps) > 1 else np.zeros(len(steps))
        both = (apart[:-1] == 1) & (apart[1:] == 1)
        together += float(np.sum(scores[:-1] * scores[1:], where=both))
        pairs += float(np.count_nonzero(both))
    fading = float(np.clip(round(1.0 + 2.0 * together / pairs, 2), 0.0, GREATEST_FADING))
    return Resemblance(fading, min(MOST_FADING_U, round(FADING_U * float(np.sqrt(FADING_PAIRS / pairs)), 2)))


def _signed_scores(steps: FloatArray) -> FloatArray:
    """Return for each step the normal score of its size among all, with its sign; mean square 1."""
    scores: FloatArray = np.sign(steps) * norm.ppf(0.5 + 0.5 * rankdata(np.abs(steps)) / (len(steps) + 1.0))
    size = float(np.sqrt(np.mean(scores**2)))
    return scores / size if size > 0.0 else scores


def correlation_matrix(places: Places, fading: float) -> FloatArray:
    """Return r^distance for all pairs of places, shape (n, n)."""
    at = np.array(places, np.float64)
    apart = np.abs(at[:, None] - at[None, :])
    matrix: FloatArray = np.where(apart == 0.0, 1.0, fading**apart)
    return matrix


@dataclass(frozen=True, slots=True, eq=False)
class Yardstick:
    """Columns (n, B) of length 1, free of parabolas in the place, that show how far a mean may be off by chance."""

    basis: FloatArray
    scale: float
    """How much wider than by the columns' mean square the t is."""
    dof: float
    """Of that t."""


@lru_cache(maxsize=1024)
def slow_cosines(places: Places, resemblance: Resemblance) -> Yardstick:
    """Return the slow cosines for the mean of all values in some places. Raises ValueError for fewer than FEWEST."""
    _demand_enough(len(places))
    count = len(places)
    cosines = min(count - 3, round(COSINES_A_POWER * count ** (2.0 / 3.0) + COSINES_AT_LEAST))
    share = (np.arange(count) + 0.5) / count
    waves = np.array([np.cos(np.pi * power * share) for power in range(3, cosines + 3)]).T
    return _yardstick(places, tuple(range(count)), _free_of_parabolas(places, waves), resemblance)


@lru_cache(maxsize=1024)
def all_that_varies(places: Places, inside: tuple[int, ...], resemblance: Resemblance) -> Yardstick:
    """Return all columns for the mean of a few of the values, given by their indices: they suffer from what is fast.

    Raises ValueError for fewer than FEWEST places.
    """
    _demand_enough(len(places))
    return _yardstick(places, inside, _free_of_parabolas(places, np.eye(len(places))), resemblance)


def _demand_enough(count: int) -> None:
    if count < FEWEST:
        raise ValueError(f"{count} places; a mean with its own scatter needs {FEWEST}")


def _free_of_parabolas(places: Places, columns: FloatArray) -> FloatArray:
    """Return what columns (n, B) add to parabolas in the place: columns of length 1, at most n - 3."""
    at = np.array(places, np.float64) - np.mean(places)
    parabola = np.vander(at, 3, increasing=True)
    basis: FloatArray = np.linalg.qr(np.hstack([parabola, columns]))[0][:, 3:]
    basis.setflags(write=False)
    return basis


def _yardstick(places: Places, inside: tuple[int, ...], basis: FloatArray, resemblance: Resemblance) -> Yardstick:
    mean = np.zeros((len(places), 1))
    mean[list(inside)] = len(inside) ** -0.5
    both = np.hstack([mean, basis])
    tails = [
        weight * tail_of_ratio(both.T @ correlation_matrix(places, fading) @ both)
        for fading, weight in resemblance.plausible()
    ]
    return Yardstick(basis, *scaled_t(np.sum(tails, axis=0)))


def mean_of(places: Places, values: FloatArray, resemblance: Resemblance) -> Estimate:
    """Return the mean of values (n,) in their places with the uncertainty that their scatter gives it.

    >>> mean_of((0, 1, 2, 3, 4), np.array([1.0, 2.0, 3.0, 4.0, 5.0]), Resemblance(0.0)).value
    3.0
    """
    return _measured_by(slow_cosines(places, resemblance), values, values)


def mean_of_few(places: Places, values: FloatArray, inside: tuple[int, ...], resemblance: Resemblance) -> Estimate:
    """Return the mean of a few of the values, given by their indices, as unsure as the scatter of all of them makes it.

    They are too few to show a scatter of their own.
    """
    return _measured_by(all_that_varies(places, inside, resemblance), values, values[list(inside)])


def _measured_by(yardstick: Yardstick, values: FloatArray, of: FloatArray) -> Estimate:
    seen = float(np.sqrt(np.mean((values @ yardstick.basis) ** 2) / len(of)))
    return Estimate(float(np.mean(of)), yardstick.scale * seen, yardstick.dof)
