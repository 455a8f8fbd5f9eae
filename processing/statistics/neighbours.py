"""Keys against the keys beside them: steps within a colour, and sharps against the naturals at the same place.

How it works: a key's step is its value less the mean of the next keys of its colour on either side (at an end, of the
one there is); the parts of the budget that all keys share fall out. A sharp lies between two naturals, so its
difference is against their mean; that of all sharps together has the scatter of these differences, and of what all
keys share that part which acts on sharps and naturals unlike, as a force scale does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.budget.propagation import combine
from processing.statistics.correlated import FEWEST, Estimate, Resemblance, independent_parts, mean_of
from processing.statistics.series import PLACES, Series
from processing.statistics.shared import joined


@dataclass(frozen=True, slots=True)
class Step:
    """One key against its neighbours of the same colour."""

    number: int
    difference: float
    u: float
    """By the measurement alone: own uncertainties of the keys that take part."""
    dof: float
    """Degrees of freedom of it."""
    beside: tuple[int, ...]
    """Numbers of the neighbours that take part."""


def steps_of(series: Series) -> tuple[Step, ...]:
    """Return the step of every key that has a neighbour of its colour in the series."""
    index_of = {place: index for index, place in enumerate(series.places)}
    steps = []
    for index, place in enumerate(series.places):
        beside = [index_of[near] for near in (place - 1, place + 1) if near in index_of]
        if beside:
            difference = float(series.values[index] - np.mean(series.values[beside]))
            parts = series.own_u[[index, *beside]] / np.array([1.0, *[len(beside)] * len(beside)])
            u, dof = independent_parts(parts, series.own_dof[[index, *beside]])
            numbers = tuple(series.numbers[place] for place in beside)
            steps.append(Step(series.numbers[index], difference, u, dof, numbers))
    return tuple(steps)


def sharps_less_naturals(naturals: Series, sharps: Series, resemblance: Resemblance) -> Estimate | None:
    """Return how much more a sharp has than the naturals beside it; None if fewer than FEWEST have both beside them."""
    index_of = {number: index for index, number in enumerate(naturals.numbers)}
    between = [
        (index, [index_of[number - 1], index_of[number + 1]])
        for index, number in enumerate(sharps.numbers)
        if number - 1 in index_of and number + 1 in index_of
    ]
    if len(between) < FEWEST:
        return None
    of_sharps, of_naturals = np.zeros((len(between), len(sharps.numbers))), np.zeros((len(between), len(index_of)))
    for row, (index, beside) in enumerate(between):
        of_sharps[row, index] = 1.0
        of_naturals[row, beside] = 0.5
    differences = of_sharps @ sharps.values - of_naturals @ naturals.values
    alone = mean_of(tuple(PLACES[sharps.numbers[index]] for index, _ in between), differences, resemblance)
    shared = combine(joined([(sharps.shared, of_sharps.mean(axis=0)), (naturals.shared, -of_naturals.mean(axis=0))]))
    return alone.with_common(shared.u, shared.dof)
