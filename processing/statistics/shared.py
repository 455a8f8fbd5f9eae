"""What errs alike on all keys of a recording: each input once, and how strongly it acts on each key.

How it works: no number of keys makes a shared input smaller, but how it acts may differ from key to key: a force scale
errs by a share of the force, a drift one way on the first key and the other way on the last. A mean, a slope or a trend
is a sum of values with weights; the same weights on the sensitivities say how an input acts on it. Inputs of one name
are one input, in whichever of the parts that are summed they act.
Source: GUM (JCGM 100:2008) 5.2 and F.1.2.3 (correlation by common influences).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from processing.budget.lines import Budget, Correlation, Line
from processing.budget.propagation import MOST_DOF, correlation_matrix, groups
from processing.stages import FloatArray, read_only


@dataclass(frozen=True, slots=True, eq=False)
class SharedParts:
    """Shared inputs of some keys."""

    unit: str
    """Of the measurand."""
    lines: tuple[Line, ...]
    """L inputs; what a key makes of one is told by `sensitivities`."""
    sensitivities: FloatArray
    """Shape (n, L): of each key to each input."""
    correlations: tuple[Correlation, ...] = ()

    def __post_init__(self) -> None:
        read_only(self.sensitivities)

    def of(self, weights: FloatArray) -> Budget:
        """Return the budget of the sum of the keys' values with these weights (n,)."""
        return joined([(self, weights)])

    def combined(self, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return, as `combine` does, u and degrees of freedom, (m,) each, of sums over the keys with weights (m, n)."""
        budget = self.of_mean()
        given = rows @ self.sensitivities * np.array([line.u for line in budget.lines])
        place = {line.name: index for index, line in enumerate(budget.lines)}
        variance, weighted = np.zeros(len(rows)), np.zeros(len(rows))
        for group in groups(budget):
            own = given[:, [place[line.name] for line in group]]
            part = np.maximum(np.einsum("ml,lk,mk->m", own, correlation_matrix(budget, group), own), 0.0)
            variance += part
            weighted += part**2 / min(line.dof for line in group)
        dofs = np.divide(variance**2, weighted, out=np.full(len(rows), MOST_DOF), where=weighted > 0.0)
        return np.sqrt(variance), np.minimum(dofs, MOST_DOF)

    def of_mean(self) -> Budget:
        """Return the budget of the keys' mean."""
        return self.of(np.full(len(self.sensitivities), 1.0 / len(self.sensitivities)))

    def only(self, indices: Sequence[int]) -> SharedParts:
        """Return the inputs of some of the keys."""
        return replace(self, sensitivities=self.sensitivities[list(indices)])

    def renamed(self, names: Mapping[str, str]) -> SharedParts:
        """Return the same with other names for some inputs: what bears another name is another input."""
        return replace(
            self,
            lines=tuple(replace(line, name=names.get(line.name, line.name)) for line in self.lines),
            correlations=tuple(
                Correlation(names.get(one.first, one.first), names.get(one.second, one.second), one.r)
                for one in self.correlations
            ),
        )


def nothing_shared(unit: str, count: int) -> SharedParts:
    """Return no inputs of some keys."""
    return SharedParts(unit, (), np.zeros((count, 0)))


def shared_parts(budgets: Sequence[Budget], own: frozenset[str]) -> SharedParts:
    """Return what the budgets of some keys, at least one, share: all but the lines called as in `own`.

    An input that is not equally unsure on all keys counts with its mean, and acts the more the less sure it is.
    """
    of_each = [{line.name: line for line in budget.lines if line.name not in own} for budget in budgets]
    names = list(dict.fromkeys(name for lines in of_each for name in lines))
    found, columns = [], []
    for name in names:
        same = [lines.get(name) for lines in of_each]
        known = [line for line in same if line is not None]
        u = float(np.mean([line.u for line in known]))
        contributions = np.array([0.0 if line is None else line.contribution for line in same])
        columns.append(contributions / u if u > 0.0 else np.zeros(len(same)))
        found.append(replace(known[0], u=u, dof=min(line.dof for line in known), sensitivity=1.0))
    sensitivities = np.array(columns, np.float64).reshape(len(names), len(budgets)).T
    related = {(pair.first, pair.second): pair for budget in budgets for pair in budget.correlations}
    kept = tuple(pair for pair in related.values() if {pair.first, pair.second} <= set(names))
    return SharedParts(budgets[0].unit, tuple(found), sensitivities, kept)


def joined(parts: Sequence[tuple[SharedParts, FloatArray]]) -> Budget:
    """Return the budget of a sum over several parts, each with a weight for each of its keys.

    Where parts give an input different uncertainties, the last one's counts, and the others act in proportion.
    """
    lines = {line.name: line for part, _ in parts for line in part.lines}
    acting = dict.fromkeys(lines, 0.0)
    for part, weights in parts:
        for line, sensitivity in zip(part.lines, weights @ part.sensitivities, strict=True):
            u = lines[line.name].u
            acting[line.name] += float(sensitivity) * (line.u / u if u > 0.0 else 0.0)
    correlations = {(one.first, one.second): one for part, _ in parts for one in part.correlations}
    return Budget(
        measurand="sum over keys",
        unit=parts[0][0].unit,
        value=0.0,
        lines=tuple(replace(line, sensitivity=acting[name]) for name, line in lines.items()),
        correlations=tuple(correlations.values()),
    )
