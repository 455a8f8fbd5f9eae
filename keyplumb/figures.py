"""Figures for notebooks: each draws on axes of the caller's, or on a new figure, and returns the axes.

Naturals are hollow circles, sharps filled triangles; bars and bands are 95 % intervals; forces that are not calibrated
say so on their axis. Several keyboards can be drawn on the same axes, one after the other: give each a label.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import to_hex
from scipy.stats import t as student_t

from processing.comparison.curves import CurveBand
from processing.comparison.paired import Paired
from processing.comparison.regions import PARTS
from processing.comparison.types import PairComparison
from processing.display import Units
from processing.features.table import FEATURES
from processing.measurand_units import UNIT_OF, like_it
from processing.stages import Curve
from processing.statistics.keyboard_statistics import KeyboardStatistics, MeasurandStatistics
from recordings.keys import KEY_COUNT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES = (7.0, 4.5)
CAPTIONS = {feature.name: feature.caption for feature in FEATURES}
MARKERS = {"natural": ("o", "none"), "sharp": ("^", "full")}


def axes_or_new(ax: Axes | None) -> Axes:
    """Return the axes given, or those of a new figure, which a notebook shows when its cell ends."""
    if ax is not None:
        return ax
    from matplotlib import pyplot

    return pyplot.subplots(figsize=INCHES, layout="constrained")[1]


def explain(ax: Axes, *, columns: int = 1) -> None:
    """Add a legend that says each thing once, where it hides the least; none if there is nothing to explain."""
    handles, labels = ax.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    if once:
        ax.legend(list(once.values()), list(once), loc="best", fontsize="small", ncols=columns)


def draw_curve(ax: Axes, curve: Curve, units: Units, *, label: str, colour: str | None) -> None:
    """Draw both ways of a curve with their 95 % bands: down solid, up dashed, in one colour."""
    way, factor = units.value(1.0, "mm") * curve.way_mm, float(student_t.ppf(0.975, max(curve.noise_dof, 1.0)))
    for side, dash, force, u in (
        ("down", "-", curve.down_newton, curve.down_u_newton),
        ("up", "--", curve.up_newton, curve.up_u_newton),
    ):
        if force is None or u is None:
            continue
        shown, half = units.value(1.0, "N") * force, units.value(factor, "N") * u
        (line,) = ax.plot(way, shown, dash, color=colour, label=f"{label} {side}".strip())
        colour = to_hex(line.get_color())
        ax.fill_between(way, shown - half, shown + half, color=colour, alpha=0.25, linewidth=0.0)
    ax.set_xlabel(f"displacement from touch ({units.of('mm')})")
    ax.set_ylabel(f"force ({units.of('N')})")
    explain(ax)


def draw_keyboard(ax: Axes, statistics: KeyboardStatistics, name: str, units: Units, *, label: str) -> None:
    """Draw a measurand of all keys with their own intervals, and the trend of each colour.

    Raises KeyError if there is no such measurand, or if it is known on no key.
    """
    _demand_measurand(name)
    found = [one for one in statistics.measurands if one.name == name]
    if not found:
        raise KeyError(f"{name} was measured on no key; `frame()` tells why, in the column {name}_reason")
    colour = None
    for one in found:
        colour = _draw_measurand(ax, one, units, label, colour)
    _keys_along(ax)
    ax.set_ylabel(_axis_words(name, found[0].unit, units))
    explain(ax)


def _demand_measurand(name: str) -> None:
    if name not in UNIT_OF:
        raise KeyError(f"{name} is no measurand; {like_it(name)}")


def _draw_measurand(ax: Axes, one: MeasurandStatistics, units: Units, label: str, colour: str | None) -> str:
    scale, (marker, fill) = units.value(1.0, one.unit), MARKERS[one.colour]
    dots = ax.errorbar(
        one.numbers,
        scale * one.values,
        yerr=scale * 1.96 * one.own_u,
        fmt=marker,
        fillstyle=fill,
        markersize=4.0,
        elinewidth=0.8,
        color=colour,
        label=f"{label} {one.colour}s".strip(),
    )
    drawn = to_hex(dots.lines[0].get_color())
    if one.trend is not None:
        ax.plot(one.trend.numbers, scale * one.trend.fitted, color=drawn, linewidth=1.0)
    return drawn


def draw_differences(ax: Axes, pair: PairComparison, name: str, units: Units) -> None:
    """Draw second less first, key by key with the keys' own intervals, and each region's mean with its 95 % band.

    Raises KeyError if no key of both was measured so.
    """
    _demand_measurand(name)
    found = [one for one in pair.paired if one.name == name]
    if not found:
        raise KeyError(f"{name} was compared on no key; `frame()` has the measurands that were")
    for one, colour in zip(found, ("C0", "C1"), strict=False):
        _draw_paired(ax, one, units, colour)
        _draw_region_means(ax, pair, one, units, colour)
    ax.axhline(0.0, color="black", linewidth=0.8)
    _keys_along(ax)
    ax.set_ylabel(f"{pair.second} less {pair.first}:\n{_axis_words(name, found[0].unit, units)}")
    explain(ax)


def _draw_paired(ax: Axes, one: Paired, units: Units, colour: str) -> None:
    scale, (marker, fill) = units.value(1.0, one.unit), MARKERS[one.colour]
    half = student_t.ppf(0.975, np.maximum(one.own_dof, 1.0)) * one.own_u
    ax.errorbar(
        one.numbers,
        scale * one.differences,
        yerr=scale * half,
        fmt=marker,
        fillstyle=fill,
        markersize=4.0,
        elinewidth=0.8,
        color=colour,
        label=f"{one.colour}s",
    )


def _draw_region_means(ax: Axes, pair: PairComparison, one: Paired, units: Units, colour: str) -> None:
    for region in PARTS:
        difference = pair.difference(one.name, one.colour, region.name)
        if difference is not None:
            mean = units.value(difference.mean.estimate.value, one.unit)
            half = units.value(difference.mean.estimate.expanded(), one.unit)
            ends = [max(region.first, min(one.numbers)), min(region.last, max(one.numbers))]
            ax.plot(ends, [mean, mean], color=colour, linewidth=1.0)
            ax.fill_between(ends, mean - half, mean + half, color=colour, alpha=0.2, linewidth=0.0)


def draw_band(ax: Axes, band: CurveBand, units: Units, *, words: str) -> None:
    """Draw where in the travel two keyboards differ: mean difference with the band that holds all over it."""
    way, scale = units.value(1.0, "mm") * band.way_mm, units.value(1.0, "N")
    shown, half = scale * band.difference_newton, scale * band.half_width_newton
    (line,) = ax.plot(way, shown, "-" if band.branch == "down" else "--", label=band.branch)
    ax.fill_between(way, shown - half, shown + half, color=line.get_color(), alpha=0.25, linewidth=0.0)
    ax.axhline(0.0, color="black", linewidth=0.8)
    ax.set_xlabel(f"displacement from touch ({units.of('mm')})")
    ax.set_ylabel(f"{words} ({units.of('N')})")
    explain(ax)


def _axis_words(name: str, unit: str, units: Units) -> str:
    shown = units.of(unit)
    return CAPTIONS[name] if shown == "1" else f"{CAPTIONS[name]} ({shown})"


def _keys_along(ax: Axes) -> None:
    ax.set_xlim(0, KEY_COUNT + 1)
    ax.set_xticks([1, *range(16, KEY_COUNT + 1, 12)], ["A0", *(f"C{octave}" for octave in range(2, 9))])
