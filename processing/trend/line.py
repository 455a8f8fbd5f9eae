"""A line of units: every measurand in every group of keys, charted against limits frozen from the first units.

How it works: the latest measuring of every unit, in the order of time; the baseline is the first units, or those from
one serial number to another. All series that can be charted are one family, so limits are as wide as that family needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from processing.control.capability import probability_if_normal
from processing.control.family import Widths, widths_for
from processing.control.settings import ControlSettings
from processing.control.watch import Watched, watch
from processing.features.table import FEATURES
from processing.stages import FloatArray
from processing.trend.groups import GROUPS, GroupSeries, KeyGroup, Statistic, group_series, key_matrix
from processing.trend.units_of_line import Units, units_of_line

if TYPE_CHECKING:
    from processing.unit_store import UnitStore

USUAL = (
    "down_weight", "up_weight", "friction", "breakaway", "key_dip", "letoff_peak_position", "letoff_drop",
    "trigger_position",
)  # fmt: skip
"""Charted unless others are asked for: what a line regulates. More charts need wider limits for all."""


@dataclass(frozen=True, slots=True)
class Unsteady:
    """Signs that a baseline is not what limits should rest on."""

    not_normal_p: float
    """Of Shapiro & Wilk's test."""
    not_random_p: float
    """Of von Neumann's ratio: small if units resemble the ones before them, or go up and down by turns."""


@dataclass(frozen=True, slots=True, eq=False)
class LineSeries:
    """One measurand in one group of keys, charted."""

    measurand: str
    unit: str
    series: GroupSeries
    watched: Watched
    widths: Widths
    unsteady: Unsteady

    @property
    def group(self) -> KeyGroup:
        """Return the group of keys."""
        return self.series.group

    @property
    def measuring_share(self) -> float:
        """Return how much of the chart's variance measuring may make up at most, 0 to 1."""
        known = self.series.u[np.isfinite(self.series.u)]
        return min(1.0, float(np.median(known) / self.watched.baseline.sigma) ** 2) if len(known) else float("nan")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What could not be charted, and why."""

    measurand: str
    group: KeyGroup | None
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """All charts of one model's units."""

    units: Units
    statistic: Statistic
    settings: ControlSettings
    series: tuple[LineSeries, ...]
    left_out: tuple[LeftOut, ...]
    matrices: dict[str, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    """Values and u of the charted measurands, units by keys, (N, 88)."""

    @property
    def in_control(self) -> bool:
        """Return whether no chart signals."""
        return not any(one.watched.signals for one in self.series)


def watch_line(
    store: UnitStore,
    model: str,
    *,
    measurands: Sequence[str] = USUAL,
    baseline: str | int | None = None,
    statistic: Statistic = "median",
    settings: ControlSettings | None = None,
) -> Line:
    """Return the charts of a model's units.

    baseline: so many first units, or "FROM..TO" in serial numbers; None: as the settings say. Raises TooFewUnits,
    UnknownBaseline, BackwardBaseline.
    """
    settings = settings or ControlSettings()
    units = units_of_line(store, model, baseline, settings)
    matrices = {name: _matrices(store, model, name, units) for name in dict.fromkeys(measurands)}
    found = [(name, group, _series(matrices[name], units, group, statistic)) for name in matrices for group in GROUPS]
    candidates: list[tuple[str, GroupSeries, int]] = []
    left_out: list[LeftOut] = []
    for name, group, series in found:
        known = 0 if series is None else int(np.isfinite(series.values[: units.baseline]).sum())
        why = _why_not(series, units.baseline, known, settings)
        if series is None or why:
            left_out.append(LeftOut(name, group, why))
        else:
            candidates.append((name, series, known))
    charted = tuple(
        _charted(name, series, known, len(candidates), units, settings) for name, series, known in candidates
    )
    return Line(units, statistic, settings, charted, _whole_measurands(left_out, len(GROUPS)), matrices)


def _matrices(store: UnitStore, model: str, name: str, units: Units) -> tuple[FloatArray, FloatArray]:
    frame = store.values(name, model)
    return key_matrix(frame, units.ids, "value"), key_matrix(frame, units.ids, "u")


def _series(
    matrices: tuple[FloatArray, FloatArray], units: Units, group: KeyGroup, statistic: Statistic
) -> GroupSeries | None:
    return group_series(*matrices, units.baseline, group, statistic)


def _why_not(series: GroupSeries | None, baseline: int, known: int, settings: ControlSettings) -> str:
    """Return why a series cannot be charted; empty if it can."""
    if series is None or known == 0:
        return "no unit of the baseline has it"
    if known < settings.fewest:
        return f"only {known} units of the baseline have it; {settings.fewest} at least"
    if np.nanstd(series.values[:baseline]) == 0.0:
        return "all units of the baseline have the same value, so there is no spread to set limits by"
    return ""


def _charted(
    name: str, series: GroupSeries, known: int, family: int, units: Units, settings: ControlSettings
) -> LineSeries:
    widths = widths_for(family, known, settings)
    watched = watch(series.values, units.baseline, widths, settings)
    unit = next(feature.unit for feature in FEATURES if feature.name == name)
    return LineSeries(name, unit, series, watched, widths, _unsteady(series.values[: units.baseline]))


def _unsteady(values: FloatArray) -> Unsteady:
    """Return how rarely a steady baseline looks like this.

    von Neumann's ratio of successive squared differences to the sum of squares has, for independent normal values,
    mean 2 and variance 4 (n - 2) / (n^2 - 1) and is nearly normal (von Neumann 1941, from memory).
    """
    from scipy.stats import norm

    values = values[np.isfinite(values)]
    count = len(values)
    ratio = float((np.diff(values) ** 2).sum() / ((values - values.mean()) ** 2).sum())
    z = (ratio - 2.0) / np.sqrt(4.0 * (count - 2) / (count**2 - 1.0))
    return Unsteady(probability_if_normal(values), float(2.0 * norm.sf(abs(z))))


def _whole_measurands(left_out: Sequence[LeftOut], groups: int) -> tuple[LeftOut, ...]:
    """Say a measurand once if every group lacks it for the same reason."""
    told: dict[tuple[str, str], list[LeftOut]] = {}
    for one in left_out:
        told.setdefault((one.measurand, one.why), []).append(one)
    return tuple(
        item
        for (name, why), some in told.items()
        for item in ([LeftOut(name, None, why)] if len(some) == groups else some)
    )
