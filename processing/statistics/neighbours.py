"""Keys against the keys beside them: steps within a colour, and sharps against the naturals at the same place.

How it works: a key's step is its value less the mean of the next keys of its colour on either side (at an end, of the
one there is); the parts of the budget that all keys share fall out. A sharp lies between two naturals, so its
difference is against their mean; that of all sharps together has the scatter of these differences.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.statistics.correlated import FEWEST, Estimate, mean_of
from processing.statistics.series import PLACES, Series


@dataclass(frozen=True, slots=True)
class Step:
    """One key against its neighbours of the same colour."""

    number: int
    difference: float
    u: float
    """By the measurement alone: own uncertainties of the keys that take part."""


def steps_of(series: Series) -> tuple[Step, ...]:
    """Return the step of every key that has a neighbour of its colour in the series."""
    index_of = {place: index for index, place in enumerate(series.places)}
    steps = []
    for index, place in enumerate(series.places):
        beside = [index_of[near] for near in (place - 1, place + 1) if near in index_of]
        if beside:
            difference = float(series.values[index] - np.mean(series.values[beside]))
            variance = series.own_u[index] ** 2 + np.sum(series.own_u[beside] ** 2) / len(beside) ** 2
            steps.append(Step(series.numbers[index], difference, float(np.sqrt(variance))))
    return tuple(steps)


def sharps_less_naturals(naturals: Series, sharps: Series, fading: float) -> Estimate | None:
    """Return how much more a sharp has than the naturals beside it; None if fewer than FEWEST have both beside them."""
    value_of = dict(zip(naturals.numbers, naturals.values.tolist(), strict=True))
    pairs = [
        (PLACES[number], value - (value_of[number - 1] + value_of[number + 1]) / 2.0)
        for number, value in zip(sharps.numbers, sharps.values.tolist(), strict=True)
        if number - 1 in value_of and number + 1 in value_of
    ]
    if len(pairs) < FEWEST:
        return None
    places, differences = zip(*pairs, strict=True)
    return mean_of(places, np.array(differences), fading)
