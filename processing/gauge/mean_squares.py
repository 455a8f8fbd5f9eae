"""Intervals of what is put together from mean squares: sums and differences of them, and ratios of such.

How it works: a component of variance is a sum of mean squares with signs. Its interval is the modified large sample
one: Graybill & Wang (J. Am. Stat. Assoc. 75:869, 1980) for sums, Ting, Burdick, Graybill, Jeyaratnam & Lu (J. Stat.
Comput. Simul. 35:135, 1990) where signs differ, as told in Burdick, Borror & Montgomery, Design and Analysis of Gauge
R&R Studies (2005). A ratio has the generalised interval of Weerahandi (J. Am. Stat. Assoc. 88:899, 1993), as Hamada &
Weaver (Qual. Eng. 12:627, 2000) use it for gauges: every mean square is divided by a drawn chi-square over its degrees
of freedom. The formulas are from memory; what they cover is checked by simulation in `tests/processing/gauge/`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Term:
    """A mean square with its factor in a sum."""

    factor: float
    square: Array | float
    """One mean square, or an array of such from as many studies of one shape."""
    dof: int


def total(terms: Sequence[Term]) -> Array:
    """Return the sum, which may be negative."""
    return np.asarray(np.sum([_size(term) for term in terms], axis=0))


def interval(terms: Sequence[Term], coverage: float) -> tuple[Array, Array]:
    """Return the lower and upper end of the sum's interval; each may be negative.

    coverage: of both ends together, the rest shared out equally.
    """
    tail = (1.0 - coverage) / 2.0
    plus = [term for term in terms if term.factor > 0.0]
    minus = [Term(-term.factor, term.square, term.dof) for term in terms if term.factor < 0.0]
    here = total(terms)
    return here - np.sqrt(_spread(plus, minus, tail)), here + np.sqrt(_spread(minus, plus, tail, upward=True))


def _spread(near: list[Term], far: list[Term], tail: float, *, upward: bool = False) -> Array:
    """Return the square of the way to one end: down to the lower one, or with the roles exchanged to the upper one.

    near: the terms whose own lower end moves this end, far: those whose upper end does.
    """
    addends = [(_below(one.dof, tail) * _size(one)) ** 2 for one in near]
    addends += [(_above(one.dof, tail) * _size(one)) ** 2 for one in far]
    for one, other in product(near, far):
        addends.append(_of_a_difference(one, other, tail, upward=upward) * _size(one) * _size(other))
    for one, other in combinations(near, 2):
        addends.append(_of_a_sum(one.dof, other.dof, tail) / (len(near) - 1) * _size(one) * _size(other))
    square: Array = np.maximum(np.sum(addends, axis=0), 0.0)
    return square


def _size(term: Term) -> Array:
    return np.asarray(term.factor * np.asarray(term.square, float))


def _below(dof: int, tail: float) -> float:
    from scipy.stats import chi2

    return float(1.0 - dof / chi2.isf(tail, dof))


def _above(dof: int, tail: float) -> float:
    from scipy.stats import chi2

    return float(dof / chi2.ppf(tail, dof) - 1.0)


def _of_a_difference(near: Term, far: Term, tail: float, *, upward: bool) -> float:
    """Return the factor of a product of two terms of different sign, exact for two terms alone at the boundary 0."""
    from scipy.stats import f

    below, above = _below(near.dof, tail), _above(far.dof, tail)
    if upward:  # the far term is the positive one
        ratio = float(f.ppf(tail, far.dof, near.dof))
        return ((1.0 - ratio) ** 2 - (above * ratio) ** 2 - below**2) / ratio
    ratio = float(f.isf(tail, near.dof, far.dof))
    return ((ratio - 1.0) ** 2 - (below * ratio) ** 2 - above**2) / ratio


def _of_a_sum(one: int, other: int, tail: float) -> float:
    both = one + other
    return (
        (_below(both, tail) * both) ** 2 / (one * other)
        - _below(one, tail) ** 2 * one / other
        - _below(other, tail) ** 2 * other / one
    )


def drawn_interval(
    squares: Sequence[Term], ratio: Callable[[Sequence[Array]], Array], coverage: float, *, draws: int, seed: int
) -> tuple[Array, Array]:
    """Return the generalised interval of a function of the expected mean squares.

    squares: the mean squares; their factors are not used. ratio: given arrays (studies, draws), one a mean square,
    returns such an array. The ends have the shape of the mean squares given.
    """
    generator = np.random.default_rng(seed)
    expected = [
        np.asarray(term.square, float)[..., np.newaxis] * term.dof / generator.chisquare(term.dof, draws)
        for term in squares
    ]
    tail = (1.0 - coverage) / 2.0
    lower, upper = np.quantile(ratio(expected), (tail, 1.0 - tail), axis=-1)
    return lower, upper
