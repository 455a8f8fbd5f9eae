"""One measurand over the keys of one colour, its uncertainty cut in two: what each key has for itself, what all share.

How it works: a line of a budget is a key's own if another key draws it anew, and shared if it errs alike on all keys of
a recording: `among_keys.py` says which and why. Own parts are in the scatter of the keys already; shared ones are not,
and no number of keys makes them smaller.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from processing.budget.lines import Budget
from processing.budget.propagation import MOST_DOF, combine
from processing.keyboard import KeyboardResult
from processing.stages import FloatArray, Measurement, read_only
from processing.statistics.among_keys import OWN, OWN_SHARE
from processing.statistics.correlated import Places
from processing.statistics.shared import SharedParts, shared_parts
from recordings.keys import ALL_KEYS

PLACES = {
    key.number: place
    for colour in ("natural", "sharp")
    for place, key in enumerate(key for key in ALL_KEYS if key.colour == colour)
}
"""Where a key lies among the keys of its colour, counted from the left."""


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Values of one measurand over keys, rising in number. Arrays (n,), in `unit`."""

    name: str
    unit: str
    colour: str
    numbers: tuple[int, ...]
    values: FloatArray
    own_u: FloatArray
    """Standard uncertainty of each key for itself."""
    own_dof: FloatArray
    """Its degrees of freedom."""
    shared: SharedParts
    """What errs alike on all keys."""

    def __post_init__(self) -> None:
        read_only(self.values, self.own_u, self.own_dof)

    @property
    def places(self) -> Places:
        """Places among the keys of the colour."""
        return tuple(PLACES[number] for number in self.numbers)

    def at(self, numbers: tuple[int, ...]) -> FloatArray:
        """Return the key numbers as an array for lines in the key number."""
        return np.array(numbers, np.float64)

    def only(self, numbers: frozenset[int]) -> Series:
        """Return the series with these keys alone."""
        kept = [index for index, number in enumerate(self.numbers) if number in numbers]
        return replace(
            self,
            numbers=tuple(self.numbers[index] for index in kept),
            values=self.values[kept],
            own_u=self.own_u[kept],
            own_dof=self.own_dof[kept],
            shared=self.shared.only(kept),
        )


def series_of(
    result: KeyboardResult, name: str, colour: str, *, without: frozenset[int] = frozenset()
) -> Series | None:
    """Return a measurand over the keys of a colour where it is known; None if it is known on no key.

    without: key numbers that are left out.
    """
    keys = sorted(
        (
            key
            for key in result.keys
            if key.key.colour == colour and key.key.number not in without and key[name].value is not None
        ),
        key=lambda key: key.key.number,
    )
    if not keys:
        return None
    measured = [key[name] for key in keys]
    own = np.array([_own_part(measurement) for measurement in measured], np.float64)
    return Series(
        name=name,
        unit=measured[0].unit,
        colour=colour,
        numbers=tuple(key.key.number for key in keys),
        values=np.array([measurement.value for measurement in measured], np.float64),
        own_u=own[:, 0].copy(),
        own_dof=own[:, 1].copy(),
        shared=shared_parts([_budget_of(measurement) for measurement in measured], OWN),
    )


def _own_part(measurement: Measurement) -> tuple[float, float]:
    """Return what a key has for itself, u and degrees of freedom; all of it if its lines are not known."""
    if measurement.budget is None:
        return measurement.u or 0.0, measurement.dof or MOST_DOF
    own = tuple(
        replace(line, u=line.u * sqrt(share))
        for line in measurement.budget.lines
        if (share := OWN_SHARE.get(line.name, 0.0)) > 0.0
    )
    part = combine(replace(measurement.budget, lines=own, correlations=()))
    return part.u, part.dof


def _budget_of(measurement: Measurement) -> Budget:
    """Return a measurement's budget, without a line if nobody knows its lines."""
    if measurement.budget is not None:
        return measurement.budget
    return Budget(measurand=measurement.name, unit=measurement.unit, value=0.0, lines=())
