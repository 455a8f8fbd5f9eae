"""Draws the panels of a report with matplotlib: for paper, for a notebook's axes, for the picture of one key."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from processing.report.charts import Axis, Bars, Charts, Dots, Line, Panel
from processing.report.style import DARK, LOOKS, PALE, Look
from processing.report.typesetting import shown

Frame = tuple[float, float, float, float]
"""Left, bottom, width, height."""
POINTS_OF_A_TILE = 250
WORDS_AN_INCH, LINES_AN_INCH = 3.7, 8.0
"""Names of keys beside one another, and names below one another, that can still be read."""

BESIDE: dict[str, Any] = {
    "xytext": (7, 3),
    "textcoords": "offset points",
    "fontsize": 7,
    "color": DARK,
    "path_effects": [withStroke(linewidth=1.8, foreground="white")],
}
"""How words stand beside a place: edged with white, so that a line behind them does not strike them out."""


def draw_panel(axes: Axes, panel: Panel) -> None:
    """Draw a panel with its title, axes and labels. The legend is the caller's."""
    axes.set_title(shown(panel.title))
    for line in panel.lines:
        _line(axes, line)
    for bars in panel.bars:
        _bars(axes, bars)
    for dots in panel.dots:
        _dots(axes, dots)
    for note in panel.notes:
        axes.annotate(shown(note.words), (note.x, note.y), **BESIDE)
    _axis(axes, panel.x, "x")
    _axis(axes, panel.y, "y")
    if panel.empty:
        axes.text(0.5, 0.5, panel.empty, transform=axes.transAxes, ha="center")


def draw_tile(page: Axes, panel: Panel, frame: Frame) -> None:
    """Draw a panel as one of many small ones into a frame of a page: its lines and its title, nothing on its axes.

    page: axes as large as the page, in inches. A tile has no axes of its own: 88 of them would take seconds.
    """
    x, y, wide, high = frame
    edge = Rectangle((x, y), wide, high, fill=False, ec=PALE, lw=0.5)
    page.add_patch(edge)
    for line in panel.lines:
        look, every = LOOKS[line.look], max(1, len(line.x) // POINTS_OF_A_TILE)
        across = x + wide * (line.x[::every] - panel.x.low) / (panel.x.high - panel.x.low)
        up = y + high * (line.y[::every] - panel.y.low) / (panel.y.high - panel.y.low)
        page.plot(across, up, **_stroke(look), alpha=look.opacity)[0].set_clip_path(edge)
    page.text(x + 0.04, y + high - 0.03, shown(panel.title), size=6, weight="bold", va="top", color=DARK)
    if panel.empty:
        page.text(x + wide / 2, y + high / 2, panel.empty.replace(" ", "\n", 1), size=4.5, ha="center", va="center")


def legend_handles(charts: Charts) -> list[Line2D | Patch]:
    """Return what stands in the legend."""
    bars = {bars.look for panel in charts.panels for bars in panel.bars}
    return [(_patch if look in bars else _handle)(LOOKS[look], shown(label)) for look, label in charts.legend]


def _stroke(look: Look) -> dict[str, Any]:
    return {"color": look.colour, "lw": look.width, "ls": (0, look.dash) if look.dash else "-"}


def _marker(look: Look) -> dict[str, Any]:
    fill = look.colour if look.filled else ("none" if look.size > 8 else "white")
    return {"marker": look.marker, "color": look.colour, "mfc": fill, "ms": look.size, "mew": 1.0, "ls": "none"}


def _line(axes: Axes, line: Line) -> None:
    look = LOOKS[line.look]
    axes.plot(line.x, line.y, **_stroke(look), alpha=look.opacity, label=shown(line.label) or None)
    if line.band is not None:
        axes.fill_between(line.x, line.y - line.band, line.y + line.band, color=look.colour, alpha=0.2, lw=0)


def _dots(axes: Axes, dots: Dots) -> None:
    look = LOOKS[dots.look]
    if dots.bar is not None and len(dots.x):
        axes.errorbar(dots.x, dots.y, yerr=dots.bar, fmt="none", ecolor=look.colour, elinewidth=0.7)
    axes.plot(dots.x, dots.y, **_marker(look), label=shown(dots.label) or None)


def _bars(axes: Axes, bars: Bars) -> None:
    look = LOOKS[bars.look]
    how: dict[str, Any] = _filling(look) | {"label": shown(bars.label) or None}
    if bars.lying:
        axes.barh(bars.at, bars.high - bars.low, left=bars.low, height=bars.thick, **how)
    else:
        axes.bar(bars.at, bars.high - bars.low, bottom=bars.low, width=bars.thick, **how)


def _filling(look: Look) -> dict[str, Any]:
    return {
        "facecolor": look.colour,
        "hatch": "/////" if look.hatched else None,
        "edgecolor": "white",
        "linewidth": 0.0,
    }


def _axis(axes: Axes, axis: Axis, which: str) -> None:
    ends = (axis.high, axis.low) if axis.downward else (axis.low, axis.high)
    axes.set(**{f"{which}lim": ends, f"{which}label": axis.label})
    frame, inch = axes.get_window_extent(), axes.figure.dpi
    wide, high = frame.width / inch, frame.height / inch
    shown = axis.ticks_within(round(WORDS_AN_INCH * wide if which == "x" else LINES_AN_INCH * high))
    if shown is not None:
        axes.set(**{f"{which}ticks": [at for at, _ in shown], f"{which}ticklabels": [words for _, words in shown]})


def _handle(look: Look, label: str) -> Line2D:
    how = _marker(look) if look.marker else _stroke(look) | {"alpha": look.opacity}
    return Line2D([], [], **how, label=label)


def _patch(look: Look, label: str) -> Patch:
    return Patch(**_filling(look), label=label)
