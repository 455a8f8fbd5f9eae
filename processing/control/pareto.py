"""Which reasons account for most of the units that are not good: counts in falling order, and how they add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ParetoRow:
    """One reason."""

    reason: str
    units: int
    """That have it, each counted once however many of its keys do."""
    share: float
    """Of all units that have a reason; shares add up to more than one, for a unit may have several."""
    first: int
    """Units that have this reason and none of those before it in the order."""
    covered: float
    """Share of units that this reason and those before it account for."""


def pareto(reasons: Iterable[tuple[str, str]]) -> tuple[ParetoRow, ...]:
    """Return the reasons, the most frequent first; equal ones by name.

    reasons: (unit, reason), repeated as often as keys have it.
    >>> [(row.reason, row.units, row.covered) for row in pareto([("a", "x"), ("b", "x"), ("b", "y"), ("c", "y")])]
    [('x', 2, 0.6666666666666666), ('y', 2, 1.0)]
    """
    having: dict[str, set[str]] = {}
    for unit, reason in reasons:
        having.setdefault(reason, set()).add(unit)
    all_units = set().union(*having.values())
    rows, seen = [], set[str]()
    for reason, units in Counter({reason: len(units) for reason, units in sorted(having.items())}).most_common():
        new = having[reason] - seen
        seen |= new
        rows.append(ParetoRow(reason, units, units / len(all_units), len(new), len(seen) / len(all_units)))
    return tuple(rows)
