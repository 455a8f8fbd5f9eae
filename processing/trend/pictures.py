"""Control charts as panels of a report: points, centre, limits, what signals, and the event that explains it.

How it works: units stand side by side in the order of time, the baseline as small rings, later units as dots, those
beyond a limit as diamonds; limits are dashed. Panels are plain data (`processing.report.charts`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from processing.control.charts import Chart
from processing.control.pareto import ParetoRow
from processing.display import Units as Shown
from processing.display import number
from processing.report.charts import Axis, Bars, Charts, Dots, In, Line, Panel, used_looks
from processing.stages import BoolArray, FloatArray
from processing.trend import line as lines
from processing.trend.news import caption_of
from processing.trend.reasons import rarer, reason_in_words

TICKS = 5
"""Units named along an axis at most."""
EVEN_ENOUGH = 5
"""Units between two named ones from which on a unit more or less does not show, so that the last is named, too."""
LETTERS = 26
"""That fit side by side below the narrowest panel."""
MARGIN = 0.12
"""Free room above and below, as a share of the range."""
MOST_REASONS = 12
"""Bars; what is rarer is named in the caption."""
SUMS_SHOWN = 4.0
"""Limits up to which sums are drawn: after a signal they grow without end and would flatten everything."""


def measurand_charts(line: lines.Line, measurand: str, shown: Shown) -> Charts:
    """Return the chart of single values of a measurand in every group of keys."""
    mine = [one for one in line.series if one.measurand == measurand]
    panels = tuple(_single(line, one, shown, one.group.name) for one in mine)
    caption = f"{caption_of(measurand)}: one number a unit, the {line.statistic} over the keys of a group."
    columns = min(3, len(panels))
    return Charts(caption=caption, panels=panels, columns=columns, height_mm=33.0, legend=used_looks(panels))


def close_up(line: lines.Line, one: lines.LineSeries, shown: Shown) -> Charts:
    """Return all four charts of one series."""
    panels = (
        _single(line, one, shown, "Single values"),
        _chart(line, one, one.watched.average, shown, "Moving average (EWMA)"),
        _sums(line, one, shown),
        _ranges(line, one, shown),
        *_samples(line, one, shown),
    )
    eye = (
        "Moving ranges, means and standard deviations have no limits of the family and are for the eye; sums are drawn "
        f"up to {SUMS_SHOWN:g} times their limit."
    )
    caption = f"{caption_of(one.measurand)}, {one.group.name}, from close by. {eye}"
    columns = 2 if len(panels) == 4 else 3
    return Charts(caption=caption, panels=panels, columns=columns, height_mm=38.0, legend=used_looks(panels))


def pareto_charts(rows: Sequence[ParetoRow]) -> Charts:
    """Return the bars of the most frequent reasons and how they add up."""
    top = list(rows[:MOST_REASONS])
    at = np.arange(len(top), dtype=np.float64)
    names = [reason_in_words(row.reason) for row in top]
    ticks = tuple((float(place), name) for place, name in zip(at, names, strict=True))
    reasons = Axis(label="", unit="", low=-0.6, high=len(top) - 0.4, decimals=0, ticks=ticks, fine=ticks, downward=True)
    covered = np.array([100.0 * row.covered for row in top])
    units = np.array([float(row.units) for row in top])
    counts = Axis(label="units", unit="", low=0.0, high=float(units.max()) * 1.08, decimals=0)
    shares = Axis(label="units covered (%)", unit="%", low=0.0, high=105.0, decimals=0)
    said = tuple(f"{name}: {row.units} units" for name, row in zip(names, top, strict=True))
    adding = tuple(f"{name} and all above: {share:.0f} %" for name, share in zip(names, covered, strict=True))
    panels = (
        Panel(title="Units that have it", x=counts, y=reasons, bars=(
            Bars(label="units with the reason", look="units with a reason", at=at, low=np.zeros(len(at)), high=units,
                 said=said, lying=True),)),
        Panel(title="Covered by it and those above", x=shares, y=reasons, dots=(
            Dots(label="covered so far", look="reasons before", x=covered, y=at, said=adding),)),
    )  # fmt: skip
    caption = " ".join(("Reasons why units were not passed, each unit counted once a reason.", *rarer(rows, len(top))))
    return Charts(caption=caption, panels=panels, columns=2, height_mm=14.0 + 6.0 * len(top), legend=used_looks(panels))


def _single(line: lines.Line, one: lines.LineSeries, shown: Shown, title: str) -> Panel:
    watched, convert = one.watched, In(shown)
    first = watched.first_charted
    known = np.isfinite(watched.values)
    before = Dots(
        label="units of the baseline", look="unit of the baseline", x=_places(0, first)[known[:first]],
        y=convert(watched.values[:first][known[:first]], one.unit),
        said=_said(line, one, watched.values[:first], np.flatnonzero(known[:first]), shown),
    )  # fmt: skip
    charted = _chart(line, one, watched.single, shown, title)
    explained = _explained(one, convert)
    y = _axis_over(one, shown, [watched.values[known], watched.single.lower, watched.single.upper])
    return Panel(
        title=title, x=_unit_axis(line, 0), y=y, lines=(*charted.lines, *explained), dots=(before, *charted.dots)
    )


def _explained(one: lines.LineSeries, convert: In) -> tuple[Line, ...]:
    watched = one.watched
    if not watched.events:
        return ()
    level = watched.baseline.centre + np.sum([event.contribution for event in watched.events], axis=0)
    x = _places(0, len(level))
    return (Line(label="what explains it", look="what explains it", x=x, y=convert(level, one.unit)),)


def _chart(line: lines.Line, one: lines.LineSeries, chart: Chart, shown: Shown, title: str) -> Panel:
    """Return a chart of the units after the baseline."""
    first = one.watched.first_charted
    x = _places(first, len(chart.points))
    guides = _guides(one, x, chart, shown)
    beyond = np.zeros(len(x), np.bool_)
    beyond[list(chart.signals)] = True
    y = _axis_over(one, shown, [chart.points[np.isfinite(chart.points)], chart.lower, chart.upper])
    return Panel(title=title, x=_unit_axis(line, first), y=y, lines=guides,
                 dots=_dots(line, one, chart.points, beyond, shown))  # fmt: skip


def _dots(
    line: lines.Line, one: lines.LineSeries, points: FloatArray, beyond: BoolArray, shown: Shown
) -> tuple[Dots, ...]:
    """Return points after the baseline: those within the limits, and those beyond."""
    first, convert = one.watched.first_charted, In(shown)
    found = []
    for label, look, which in (("units", "unit", ~beyond), ("beyond a limit", "unit beyond", beyond)):
        at = np.flatnonzero(which & np.isfinite(points))
        if len(at):
            said = _said(line, one, points, at, shown, first)
            x, y = _places(first, len(points))[at], convert(points[at], one.unit)
            found.append(Dots(label=label, look=look, x=x, y=y, said=said))
    return tuple(found)


def _ranges(line: lines.Line, one: lines.LineSeries, shown: Shown) -> Panel:
    """Return the moving ranges; they have no limits of the family, so only the centre is drawn and nothing signals."""
    chart = one.watched.ranges
    first = one.watched.first_charted
    x = _places(first, len(chart.points))
    centre = In(shown)(np.full(len(x), chart.centre), one.unit)
    guide = Line(label="centre", look="centre", x=x, y=centre, read_off=False)
    none = np.zeros(len(x), np.bool_)
    y = _axis_over(one, shown, [chart.points[np.isfinite(chart.points)], np.zeros(1)])
    dots = _dots(line, one, chart.points, none, shown)
    return Panel(title="Moving ranges", x=_unit_axis(line, first), y=y, lines=(guide,), dots=dots)


def _samples(line: lines.Line, one: lines.LineSeries, shown: Shown) -> tuple[Panel, ...]:
    """Return means and standard deviations of units in a row, each at its last unit, limits at three sigma."""
    samples, size = one.watched.samples, line.settings.sample
    if samples is None:
        return ()
    x = _places(0, len(one.watched.values))[list(samples.at)]
    found = []
    for title, chart in ((f"Means of {size}", samples.means), (f"Standard deviations of {size}", samples.spreads)):
        spread = np.full(len(line.units.labels), np.nan)
        spread[list(samples.at)] = chart.points
        beyond = np.zeros(len(spread), np.bool_)
        beyond[[samples.at[place] for place in chart.signals]] = True
        first = one.watched.first_charted
        dots = _dots(line, one, spread[first:], beyond[first:], shown)
        y = _axis_over(one, shown, [chart.points, chart.lower, chart.upper])
        guides = _guides(one, x, chart, shown, "three sigma")
        found.append(Panel(title=title, x=_unit_axis(line, first), y=y, lines=guides, dots=dots))
    return tuple(found)


def _guides(
    one: lines.LineSeries, x: FloatArray, chart: Chart, shown: Shown, words: str = "limits"
) -> tuple[Line, ...]:
    convert, look = In(shown), "control limit" if words == "limits" else "limit for the eye"
    return tuple(
        Line(label=label, look=look, x=x.copy(), y=convert(values, one.unit), read_off=False)
        for label, look, values in (
            ("centre", "centre", np.full(len(x), chart.centre)),
            (words, look, chart.lower),
            (words, look, chart.upper),
        )
    )


def _sums(line: lines.Line, one: lines.LineSeries, shown: Shown) -> Panel:
    sums, convert, first = one.watched.sums, In(shown), one.watched.first_charted
    x = _places(first, len(sums.high))
    limit = Line(
        label="limits", look="control limit", x=x, y=convert(np.full(len(x), sums.limit), one.unit), read_off=False
    )  # fmt: skip
    top = SUMS_SHOWN * sums.limit
    dots = []
    for label, values in (("sum upward", sums.high), ("sum downward", sums.low)):
        at = np.flatnonzero(values <= top)
        said = _said(line, one, values, at, shown, first)
        dots.append(Dots(label=label, look=label, x=x[at], y=convert(values[at], one.unit), said=said))
    shown_high = min(top, max(float(sums.high.max()), float(sums.low.max()), sums.limit))
    y = _axis_over(one, shown, [np.array([0.0, shown_high])])
    return Panel(title="Cumulative sums (CUSUM)", x=_unit_axis(line, first), y=y, lines=(limit,), dots=tuple(dots))


def _said(
    line: lines.Line, one: lines.LineSeries, values: FloatArray, at: NDArray[np.intp], shown: Shown, first: int = 0
) -> tuple[str, ...]:
    """Return what is said of some values, `first` the unit of values[0]."""
    unit, labels = shown.of(one.unit), line.units.labels
    told = ((labels[first + place], number(float(values[place]), one.unit, shown)) for place in at.tolist())
    return tuple(f"{label}: {value} {unit}" for label, value in told)


def _places(first: int, count: int) -> FloatArray:
    """Return where units stand on their axis: the first of all at 1."""
    return np.arange(first + 1.0, first + count + 0.5, dtype=np.float64)


def _axis_over(one: lines.LineSeries, shown: Shown, parts: Sequence[FloatArray]) -> Axis:
    everything = np.concatenate(parts)
    low, high = float(everything.min()), float(everything.max())
    room = MARGIN * (high - low)
    return In(shown).axis("", one.unit, low - room, high + room)


def _unit_axis(line: lines.Line, first: int) -> Axis:
    """Return the axis of units, with the serial numbers of a few, evenly apart so that none runs into the next."""
    labels = line.units.labels
    words = [_short(label, line.units.model) for label in labels]
    gaps = max(1, min(TICKS, LETTERS // (max(map(len, words)) + 2)) - 1)
    last = len(labels) - 1
    if last - first >= EVEN_ENOUGH * gaps:
        places = np.linspace(first, last, gaps + 1).round().astype(int).tolist()
    else:
        places = list(range(first, last + 1, max(1, -(-(last - first) // gaps))))
    ticks = tuple((place + 1.0, words[place]) for place in places)
    return Axis(label="", unit="", low=first + 0.2, high=len(labels) + 0.8, decimals=0, ticks=ticks, fine=ticks)


def _short(label: str, model: str) -> str:
    """Return a serial number without the model's name in front."""
    return label.removeprefix(f"{model}-") or label
