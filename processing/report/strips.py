"""Strips of 88 keys: one measurand a strip, naturals as open circles, sharps as filled triangles, odd keys ringed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from processing.display import Units
from processing.keyboard import KeyboardResult, values_of
from processing.report.style import BLUE, DARK, NATURAL, ORANGE, RED, SHARP, key_axis, new_figure


@dataclass(frozen=True, slots=True)
class Strip:
    """One strip: its title, what it shows, and whether it is a way downward (drawn with the top at the top)."""

    title: str
    names: tuple[str, ...]
    downward: bool


STRIPS = (
    Strip("Down weight (dark) and up weight (light)", ("down_weight", "up_weight"), downward=False),
    Strip("Friction", ("friction",), downward=False),
    Strip("Key dip (deeper is lower)", ("key_dip",), downward=True),
    Strip("Let-off peak (dark), note starts (light)", ("letoff_peak_position", "trigger_position"), downward=True),
    Strip("Let-off: drop", ("letoff_drop",), downward=False),
    Strip("Note stops, above the dip", ("release_height",), downward=False),
)  # fmt: skip


def draw_strips(result: KeyboardResult, units: Units) -> Figure:
    """Return the figure of all strips that have something to show."""
    shown = [strip for strip in STRIPS if any(_known(result, name) for name in strip.names)] or [STRIPS[0]]
    figure = new_figure(7.6, 1.55 * len(shown) + 0.5)
    all_axes = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    for axes, strip in zip(all_axes, shown, strict=True):
        _draw_strip(axes, strip, result, units)
    key_axis(all_axes[-1])
    all_axes[0].legend(handles=_legend(), loc="lower right", bbox_to_anchor=(1, 1), ncols=3)
    return figure


def _known(result: KeyboardResult, name: str) -> bool:
    return any(key[name].value is not None for key in result.keys)


def _draw_strip(axes: Axes, strip: Strip, result: KeyboardResult, units: Units) -> None:
    unit = result.keys[0][strip.names[0]].unit
    axes.set_title(strip.title)
    axes.set_ylabel(units.of(unit))
    for name, colour in zip(strip.names, (BLUE, ORANGE), strict=False):
        for key_colour, marker in (("natural", NATURAL), ("sharp", SHARP)):
            numbers, values = values_of(name, key_colour, result.keys)
            fill = "white" if key_colour == "natural" else colour
            shown = units.value(1.0, unit) * values
            axes.plot(numbers, shown, marker, color=colour, mfc=fill, ms=3.6, mew=0.9, ls="none")
        _ring_odd_keys(axes, name, result, units)
        _draw_trend(axes, name, result, units, colour)
    axes.margins(y=0.14)
    if strip.downward:
        axes.invert_yaxis()


def _ring_odd_keys(axes: Axes, name: str, result: KeyboardResult, units: Units) -> None:
    """Ring the keys that stand out in this very measurand and write their names beside."""
    for odd in result.odd_keys:
        value = odd.result[name].value
        if value is not None and name in [reason.code for reason in odd.reasons]:
            at = odd.result.key.number, units.value(value, odd.result[name].unit)
            axes.plot(*at, "o", color=RED, mfc="none", ms=9, mew=1.2)
            axes.annotate(odd.result.key.name, at, xytext=(6, 3), textcoords="offset points", fontsize=7, color=DARK)


def _draw_trend(axes: Axes, name: str, result: KeyboardResult, units: Units, colour: str) -> None:
    for trend in result.trends:
        if trend.name == name:
            ends = np.array([trend.at_first, trend.at_last]) * units.value(1.0, trend.unit)
            style = "-" if trend.colour == "natural" else ":"
            axes.plot([trend.first_key, trend.last_key], ends, style, color=colour, lw=0.8, alpha=0.8)


def _legend() -> list[Line2D]:
    return [
        Line2D([], [], marker=NATURAL, color=DARK, mfc="white", ls="-", lw=0.8, ms=4, label="naturals, line"),
        Line2D([], [], marker=SHARP, color=DARK, ls=":", lw=0.8, ms=4, label="sharps, line"),
        Line2D([], [], marker="o", color=RED, mfc="none", ls="none", ms=8, label="stands out here"),
    ]
