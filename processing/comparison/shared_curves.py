"""What errs alike on all keys of a recording in its mean curve, place by place: the budget of the weights at work.

How it works: the down weight is a force of the way down, the up weight one of the way up, so what their keys share is
what the curve's places share. A line that makes forces wrong counts by its share of the weight: half as much where the
force is half as large, by the square for the curvature of the scale. A line that makes places wrong does little to a
weight, which is read where the curve is flat; so it counts by how steep the mean curve is. Where both recordings rest
on one record, one constant acts on both and counts with what it does to the difference. What a drift that was taken out
leaves open comes from the curves. Left out is what does not act on a mean curve (latency, lean of picked extremes), and
smoothing, which rounds both curves by as much where they are alike and says so in the numbers where they are not.
Source: GUM (JCGM 100:2008) 5.2 and F.1.2.3 (common influences).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from processing.budget.calibration_lines import (
    BACKLASH,
    COMPLIANCE,
    DISPLACEMENT_BY_TEMPERATURE,
    DISPLACEMENT_POWERS,
    FORCE_POWERS,
    TRAVEL_BY_LEVER,
)
from processing.budget.lines import Budget
from processing.budget.sources import LATENCY, LEAN, SMOOTHING
from processing.comparison.curves import Branch
from processing.comparison.paired import Paired
from processing.stages import Curve, FloatArray
from processing.statistics.drift import BEND, DIFFER, SITTING, WHOLE
from processing.statistics.shared import SharedParts, joined

WEIGHT_OF: dict[Branch, str] = {"down": "down_weight", "up": "up_weight"}
NOT_ON_CURVES = (LATENCY, LEAN, SMOOTHING, SITTING, BEND, WHOLE, DIFFER)
LEAST_NEWTON = 0.05
"""A weight that is smaller, as the up weight of a heavy action may be, is no measure of a share."""
MOVES_PLACES = {
    DISPLACEMENT_POWERS[0]: (1, 0),
    DISPLACEMENT_POWERS[1]: (2, 0),
    DISPLACEMENT_BY_TEMPERATURE: (1, 0),
    TRAVEL_BY_LEVER: (1, 0),
    COMPLIANCE: (0, 1),
    BACKLASH: (0, 0),
}
"""Constants that move places, and by which power of way (mm) and of force (N) they do; all in one sense."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedOnCurves:
    """Shared parts of a weight over some keys of two recordings, and of what was taken out of their curves."""

    firsts: Sequence[Curve]
    seconds: Sequence[Curve]
    branch: Branch
    weight: Paired | None
    """Of the colour; None: no key of both has it."""
    numbers: Sequence[int]
    """Of the keys."""
    coverage: float

    def u_on(self, way_mm: FloatArray, first: FloatArray, second: FloatArray) -> FloatArray:
        """Return the standard uncertainty (N,) of the second mean curve less the first at places of the way."""
        of_weight = self._of_weight(way_mm, first, second)
        left = [drift_u_on(curves, way_mm, self.branch, self.coverage) for curves in (self.firsts, self.seconds)]
        return np.sqrt(of_weight**2 + left[0] ** 2 + left[1] ** 2)

    def _of_weight(self, way_mm: FloatArray, first: FloatArray, second: FloatArray) -> FloatArray:
        one = self.weight
        inside = [] if one is None else [i for i, number in enumerate(one.numbers) if number in set(self.numbers)]
        if one is None or not inside:
            return np.zeros(len(way_mm))
        means = one.first[inside].mean(), one.second[inside].mean()
        mean_of, nothing = np.zeros(len(one.numbers)), np.zeros(len(one.numbers))
        mean_of[inside] = 1.0 / len(inside)
        budgets = [
            joined([(one.shared[0], in_first), (one.shared[1], in_second)])
            for in_first, in_second in ((mean_of, nothing), (nothing, mean_of))
        ]
        names = [frozenset(line.name for line in part.lines) for part in one.shared]
        acting = [_acting(*what, way_mm) for what in zip(budgets, names, means, (first, second), strict=True)]
        parts = SharedParts("N", budgets[0].lines, acting[1] - acting[0], budgets[0].correlations)
        us, dofs = parts.combined(np.eye(len(way_mm)))
        return us * _wider_than_normal(dofs, self.coverage)


def _acting(budget: Budget, names: frozenset[str], weight: float, force: FloatArray, way_mm: FloatArray) -> FloatArray:
    """Return what a unit of each of the budget's L lines does to the mean curve of the recording that has `names`,
    shape (N, L)."""
    share = force / max(abs(weight), LEAST_NEWTON)
    slope = np.gradient(force, way_mm) if len(way_mm) > 1 else np.zeros(len(way_mm))
    columns = []
    for line in budget.lines:
        name = line.name.removesuffix(", first").removesuffix(", second")
        if line.name not in names or name in NOT_ON_CURVES:
            columns.append(np.zeros(len(way_mm)))
        elif name in MOVES_PLACES:
            of_way, of_force = MOVES_PLACES[name]
            columns.append(way_mm**of_way * force**of_force * slope)
        else:
            columns.append(line.sensitivity * (share**2 if name == FORCE_POWERS[1] else share))
    return np.array(columns, np.float64).reshape(len(budget.lines), len(way_mm)).T


def drift_u_on(curves: Sequence[Curve], way_mm: FloatArray, branch: Branch, coverage: float) -> FloatArray:
    """Return what drifts that were taken out leave open of the mean of some curves, (N,)."""
    left, dofs = np.zeros((1, len(way_mm))), np.array([np.inf])
    for curve in curves:
        if curve.drift_left is None:
            continue
        kept = curve.drift_left
        side, of_side = (kept.down_newton, kept.down_dofs) if branch == "down" else (kept.up_newton, kept.up_dofs)
        if side is not None and of_side is not None:
            left = left + np.array([np.interp(way_mm, curve.way_mm, part) for part in side]) / len(curves)
            dofs = of_side
    together: FloatArray = np.sqrt(np.sum((left * _wider_than_normal(dofs, coverage)[:, None]) ** 2, axis=0))
    return together


def _wider_than_normal(dofs: FloatArray, coverage: float) -> FloatArray:
    """Return by how much Student's t is wider at a coverage than a normal distribution: the factor of a band knows
    nothing of how few degrees of freedom a shared part has."""
    level = 0.5 + coverage / 2.0
    wider: FloatArray = np.where(np.isinf(dofs), 1.0, stdtrit(np.minimum(dofs, 1e6), level) / ndtri(level))
    return wider
