"""Two keyboards key by key: the mean difference with both budgets in it.

How it works: second less first on each key that both have. The scatter of these differences, correlated along the
keyboard as it may be (`statistics/correlated.py`), holds everything that a key has for itself. What all keys of a
recording share does not average out and is added: where both recordings rest on the same calibration record, a
constant of it errs alike in both, so its line counts with the difference of the two sensitivities and partly falls
out; all other shared lines (smoothing, latency, mass of the key, temperature) count once for each recording. A
region with too few keys for a scatter is judged by that of all keys of the colour; where these are too few, the keys'
own budgets stand in: then the difference is that of these keys alone. What each key has for itself is the least that a
mean is unsure by, however little the keys happen to scatter.
Source: GUM (JCGM 100:2008) 5.2 and F.1.2.3 (correlation by common influences).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from processing.budget.calibration_lines import BACKLASH, COMPLIANCE, DISPLACEMENT_POWERS, FORCE_POWERS, SKEW
from processing.budget.lines import Budget
from processing.budget.propagation import MOST_DOF, combine
from processing.stages import FloatArray, read_only
from processing.statistics.correlated import (
    FEWEST,
    Estimate,
    Places,
    Resemblance,
    independent_parts,
    mean_of,
    mean_of_few,
)
from processing.statistics.series import PLACES, Series
from processing.statistics.shared import SharedParts, joined

IN_THE_RECORD = frozenset({*FORCE_POWERS, *DISPLACEMENT_POWERS, COMPLIANCE, SKEW, BACKLASH})
"""Lines whose constant is written in the calibration record: the same number in every recording that rests on it."""
ROUNDING = 1e-9
"""Share of a number: two that differ by less are one number, reckoned in two ways."""
Basis = Literal["scatter of the keys", "budgets of these keys alone"]


@dataclass(frozen=True, slots=True, eq=False)
class Paired:
    """One measurand over the keys of one colour that both keyboards have. Arrays (n,), in `unit`."""

    name: str
    unit: str
    colour: str
    numbers: tuple[int, ...]
    first: FloatArray
    second: FloatArray
    own_u: FloatArray
    """Of the difference of each key."""
    own_dof: FloatArray
    shared: tuple[SharedParts, SharedParts]
    """Of first and second, on the same keys: what bears one name in both is one input."""

    def __post_init__(self) -> None:
        read_only(self.first, self.second, self.own_u, self.own_dof)

    @property
    def differences(self) -> FloatArray:
        """Second less first; what is rounding of numbers is nothing."""
        differences = self.second - self.first
        rounding = ROUNDING * np.maximum(np.abs(self.first), np.abs(self.second))
        return np.where(np.abs(differences) > rounding, differences, 0.0)

    @property
    def places(self) -> Places:
        """Places among the keys of the colour."""
        return tuple(PLACES[number] for number in self.numbers)

    def shared_of_mean(self, inside: Sequence[int]) -> Budget:
        """Return the shared budget of the mean difference over some keys, given by their indices."""
        weights = np.zeros(len(self.numbers))
        weights[list(inside)] = 1.0 / len(inside)
        first, second = self.shared
        return joined([(first, -weights), (second, weights)])


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """The mean difference and what it rests on."""

    estimate: Estimate
    """The shared part included."""
    shared_u: float
    basis: Basis


def pair(first: Series, second: Series, *, one_record: bool) -> Paired | None:
    """Return two series key by key; None if they have no key in common.

    one_record: both recordings rest on the same calibration record.
    """
    both = frozenset(first.numbers) & frozenset(second.numbers)
    if not both:
        return None
    left, right = first.only(both), second.only(both)
    return Paired(
        name=first.name,
        unit=first.unit,
        colour=first.colour,
        numbers=left.numbers,
        first=left.values,
        second=right.values,
        own_u=np.hypot(left.own_u, right.own_u),
        own_dof=_joint_dof(left, right),
        shared=_told_apart(left.shared, right.shared, one_record=one_record),
    )


def _joint_dof(left: Series, right: Series) -> FloatArray:
    weighted = left.own_u**4 / left.own_dof + right.own_u**4 / right.own_dof
    total = (left.own_u**2 + right.own_u**2) ** 2
    dofs: FloatArray = np.divide(total, weighted, out=np.full(len(total), MOST_DOF), where=weighted > 0.0)
    return dofs


def _told_apart(first: SharedParts, second: SharedParts, *, one_record: bool) -> tuple[SharedParts, SharedParts]:
    """Return both with names that tell their inputs apart, but for those that are one constant of one record."""
    both = {line.name for line in first.lines} & {line.name for line in second.lines}
    common = both & IN_THE_RECORD if one_record else frozenset()

    def called(part: SharedParts, which: str) -> SharedParts:
        return part.renamed({name: f"{name}, {which}" for line in part.lines if (name := line.name) not in common})

    return called(first, "first"), called(second, "second")


def mean_difference(paired: Paired, inside: list[int], resemblance: Resemblance) -> MeanDifference:
    """Return the mean difference over some keys, given by their indices."""
    by_budgets, shared = _by_budgets(paired, inside), combine(paired.shared_of_mean(inside))
    basis: Basis = "scatter of the keys"
    if len(inside) >= FEWEST:
        alone = mean_of(tuple(paired.places[index] for index in inside), paired.differences[inside], resemblance)
    elif len(paired.numbers) >= FEWEST:
        alone = mean_of_few(paired.places, paired.differences, tuple(inside), resemblance)
    else:
        alone, basis = by_budgets, "budgets of these keys alone"
    # The measurement's own part is in the scatter: one that is smaller was so by chance, and is no better known for it.
    alone = replace(alone, u=max(alone.u, by_budgets.u))
    return MeanDifference(alone.with_common(shared.u, shared.dof), shared.u, basis)


def _by_budgets(paired: Paired, inside: list[int]) -> Estimate:
    """Return the mean difference as unsure as what each key has for itself makes it: nothing is said of other keys."""
    u, dof = independent_parts(paired.own_u[inside] / len(inside), paired.own_dof[inside])
    return Estimate(float(np.mean(paired.differences[inside])), u, dof)
