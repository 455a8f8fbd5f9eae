"""Is the process good enough for the limits: capability of every key of a line, and the worst key of each group.

How it works: limits may differ from key to key, so each key is judged by its own units' values. The worst key of a
group (least Ppk by mean and standard deviation) is then looked at closely, with intervals and the test for normal
values. All units count, those that signal too: capability of a process out of control describes the past only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from processing.control.capability import FEWEST, Capability, capability
from processing.errors import LimitsOfOtherModel
from processing.stages import FloatArray
from processing.trend.groups import GROUPS, KeyGroup
from processing.trend.line import Line
from recordings.keys import Key

if TYPE_CHECKING:
    from processing.limits.types import Limits, ValueLimit


@dataclass(frozen=True, slots=True)
class Capable:
    """The worst key of a group against its limits."""

    measurand: str
    unit: str
    group: KeyGroup
    keys: int
    """Keys of the group that have limits and units enough."""
    key: Key
    lower: float | None
    upper: float | None
    found: Capability
    in_control: bool
    """Whether no chart of the measurand in this group signals; if not, the numbers tell of the past only."""


def demand_for_model(limits: Limits, model: str) -> None:
    """Raise LimitsOfOtherModel if limits say that they are for another model."""
    wanted = limits.expected.instrument
    if wanted not in (None, model):
        raise LimitsOfOtherModel(limits.file_name or limits.name, wanted, model)


def capable(line: Line, limits: Limits) -> tuple[Capable, ...]:
    """Return the worst key of every charted group for which there are limits."""
    found = (
        _worst(line, limit, group) for limit in limits.values if limit.measurand in line.matrices for group in GROUPS
    )
    return tuple(one for one in found if one is not None)


def _worst(line: Line, limit: ValueLimit, group: KeyGroup) -> Capable | None:
    values, _ = line.matrices[limit.measurand]
    ranked = [
        (_ppk(mine, *limit.ends(key)), key, mine)
        for key in map(Key, group.numbers)
        if key in limit.keys and len(mine := _known(values[:, key.number - 1])) >= FEWEST and np.ptp(mine) > 0.0
    ]
    if not ranked:
        return None
    _, key, mine = min(ranked, key=lambda row: row[0])
    lower, upper = limit.ends(key)
    charts = [one for one in line.series if one.measurand == limit.measurand and one.group == group]
    return Capable(
        limit.measurand, limit.unit, group, len(ranked), key, lower, upper,
        capability(mine, lower=lower, upper=upper, coverage=line.settings.coverage),
        in_control=not any(one.watched.signals for one in charts),
    )  # fmt: skip


def _known(values: FloatArray) -> FloatArray:
    known: FloatArray = values[np.isfinite(values)]
    return known


def _ppk(values: FloatArray, lower: float | None, upper: float | None) -> float:
    mean, sigma = float(values.mean()), float(values.std(ddof=1))
    below = math.inf if lower is None else mean - lower
    above = math.inf if upper is None else upper - mean
    return min(below, above) / (3.0 * sigma)
