"""Pictures of gauge studies: a crossed study part by part, a line of bias, the chart of a check standard.

How it works: operators differ by shape and lightness as well as by colour. Standard deviations are drawn with their
intervals on a scale that is logarithmic, since an upper end may be many times the estimate, but ends in a stretch with
a true 0, where many a component's estimate or lower end is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from processing.display import Units
from processing.errors import UnknownEnding
from processing.gauge.bias_linearity import BiasStudy
from processing.gauge.crossed import GaugeStudy
from processing.gauge.stability import JudgedDay, Stability
from processing.gauge.verdict import GaugeVerdict
from processing.own_files import Mark, demand_own_place
from recordings.safe_files import whole_or_nothing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DRAWN_BY = "keyplumb gauge"
FORMATS = {
    ".png": ("Software", Mark(b"\x89PNG", f"Software\0{DRAWN_BY}".encode(), "`gauge --picture` drew")),
    ".pdf": ("Creator", Mark(b"%PDF-", f"/Creator ({DRAWN_BY})".encode(), "`gauge --picture` drew")),
    ".svg": ("Creator", Mark(b"<?xml", f"<dc:title>{DRAWN_BY}</dc:title>".encode(), "`gauge --picture` drew")),
}
"""By ending: under what a picture tells who drew it, and by what it is known again."""
LOOKS = (("o", "#1f5fa8"), ("^", "#c2571a"), ("s", "#4a8f4a"), ("D", "#7a3f9a"), ("v", "#222222"), ("P", "#b08a00"))
GREY, LIGHT = "#444444", "#dddddd"
NAMES = {
    "repeatability": "same key, same operator",
    "reproducibility": "between operators",
    "interaction": "operators, key by key",
    "gauge": "gauge, all of it",
    "part": "between keys",
    "total": "all readings",
}


MOST_LABELS = 12
WIDEST_RANGE = 1e4
"""Of a scale of standard deviations; what is smaller still is drawn near 0."""


def demand_place(path: Path) -> None:
    """Raise what would keep a picture from being written under this name: UnknownEnding, FileIsThere, CannotWrite."""
    if path.suffix.lower() not in FORMATS:
        raise UnknownEnding(path.name, tuple(FORMATS))
    demand_own_place(path, FORMATS[path.suffix.lower()][1])


def draw_studies(verdicts: Sequence[GaugeVerdict], path: Path, units: Units, title: str) -> None:
    """Write a picture with one row of panels for each measurand that could be analysed."""
    told = [verdict for verdict in verdicts if verdict.study is not None]
    figure = _figure(12.0, 1.0 + 3.4 * max(len(told), 1))
    figure.suptitle(title)
    rows = figure.subplots(max(len(told), 1), 3, squeeze=False, width_ratios=(1.0, 1.5, 1.0))
    for row, verdict in zip(rows, told, strict=False):
        if verdict.study is not None:
            _spreads(row[0], verdict.study, verdict, units)
            _by_part(row[1], verdict.study, verdict, units)
            _by_operator(row[2], verdict.study, verdict, units)
    _save(figure, path)


def _spreads(axes: Axes, study: GaugeStudy, verdict: GaugeVerdict, units: Units) -> None:
    scale = units.value(1.0, verdict.unit)
    for place, part in enumerate(study.parts):
        if study.pooled and part.name == "interaction":
            axes.text(
                0.03, place, "counted as repeats", transform=axes.get_yaxis_transform(), va="center", fontsize="small"
            )
            continue
        axes.plot([scale * part.lower, scale * part.upper], [place, place], color=GREY, linewidth=1.5)
        axes.plot(scale * part.sd, place, marker="o", color=LOOKS[0][1], clip_on=False)
    _scale_with_zero(axes, [scale * end for part in study.parts for end in (part.lower, part.sd, part.upper)])
    axes.set_yticks(range(len(study.parts)), [NAMES[part.name] for part in study.parts])
    axes.set_ylim(len(study.parts) - 0.5, -0.5)
    axes.set_xlabel(_label("standard deviation", verdict.unit, units))
    axes.set_title(f"{verdict.measurand}: {verdict.fitness}", fontsize="medium")
    axes.grid(visible=True, axis="x", color=LIGHT, linewidth=0.6)


def _scale_with_zero(axes: Axes, values: Sequence[float]) -> None:
    """Make the axis logarithmic down to the smallest number that weighs, and straight from there to 0."""
    above = [value for value in values if value > 0.0]
    most = max(above, default=1.0)
    least = max(min(above, default=1.0), most / WIDEST_RANGE)
    axes.set_xscale("symlog", linthresh=least, linscale=0.4)
    axes.set_xlim(0.0, 1.3 * most)
    decades = 10.0 ** np.arange(np.floor(np.log10(least)), np.log10(1.3 * most))
    between = (1.0,) if np.count_nonzero(decades >= least) > 1 else (1.0, 2.0, 5.0)
    ticks = sorted(tick for tick in np.outer(decades, between).ravel().tolist() if least <= tick <= 1.3 * most)
    axes.set_xticks([0.0, *ticks], [f"{tick:g}" for tick in (0.0, *ticks)])
    axes.minorticks_off()


def _by_part(axes: Axes, study: GaugeStudy, verdict: GaugeVerdict, units: Units) -> None:
    """Draw every reading less the mean of its part, so that small differences show beside large keys."""
    values = study.readings.values * units.value(1.0, verdict.unit)
    away = values - values.mean(axis=(1, 2), keepdims=True)
    count = len(study.readings.operators)
    for place, name in enumerate(study.readings.operators):
        marker, colour = LOOKS[place % len(LOOKS)]
        x = np.arange(len(study.readings.parts)) + 0.5 * ((place + 0.5) / count - 0.5)
        axes.plot(np.repeat(x, values.shape[2]), away[:, place].ravel(), marker, color=colour, markersize=4, label=name)
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    axes.set_xticks(range(len(study.readings.parts)), study.readings.parts)
    axes.set_ylabel(_label("reading less the key's mean", verdict.unit, units))
    axes.legend(fontsize="small", frameon=False, ncols=min(count, 4), loc="upper left", bbox_to_anchor=(0.0, 1.12))
    axes.grid(visible=True, axis="y", color=LIGHT, linewidth=0.6)


def _by_operator(axes: Axes, study: GaugeStudy, verdict: GaugeVerdict, units: Units) -> None:
    """Draw every operator's mean with the spread that repeated readings give it."""
    scale = units.value(1.0, verdict.unit)
    values = study.readings.values * scale
    away = values.mean(axis=(0, 2)) - values.mean()
    u = scale * study["repeatability"].sd / np.sqrt(values.shape[0] * values.shape[2])
    for place, middle in enumerate(away):
        marker, colour = LOOKS[place % len(LOOKS)]
        axes.errorbar(place, middle, yerr=2.0 * u, marker=marker, color=colour, capsize=3)
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    axes.set_xticks(range(len(away)), study.readings.operators)
    axes.set_xlim(-0.6, len(away) - 0.4)
    axes.set_ylabel(_label("operator less all", verdict.unit, units))
    axes.set_title("bars: twice what repeats explain", fontsize="small")
    axes.grid(visible=True, axis="y", color=LIGHT, linewidth=0.6)


def draw_bias(study: BiasStudy, path: Path, unit: str, units: Units, title: str) -> None:
    """Write the line of bias with its band, and the mean bias at every reference."""
    figure = _figure(7.5, 4.5)
    axes, scale = figure.subplots(), units.value(1.0, unit)
    x = np.linspace(study.at[0].reference, study.at[-1].reference, 100)
    line, half = (np.array(row) for row in zip(*(study.line_at(float(one)) for one in x), strict=True))
    axes.fill_between(scale * x, scale * (line - half), scale * (line + half), color="#c9d8ea", label="its 95 % band")
    axes.plot(scale * x, scale * line, color=LOOKS[0][1], label="line of bias")
    for at in study.at:
        bars = scale * at.bias.half_width
        axes.errorbar(scale * at.reference, scale * at.bias.value, yerr=bars, marker="o", color=GREY, capsize=3)
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    axes.set_xlabel(_label("reference", unit, units))
    axes.set_ylabel(_label("reading less reference", unit, units))
    axes.set_title(title)
    axes.legend(frameon=False, fontsize="small")
    axes.grid(visible=True, color=LIGHT, linewidth=0.6)
    _save(figure, path)


def draw_stability(found: Stability, path: Path, unit: str, units: Units, title: str) -> None:
    """Write the chart of a check standard: daily means with frozen limits, and below them the spread within days."""
    figure = _figure(9.0, 5.5)
    scale, base = units.value(1.0, unit), found.baseline
    means, spreads = figure.subplots(2, 1, sharex=True, height_ratios=(2.0, 1.0))
    for place, one in enumerate(found.days):
        means.plot(place, scale * one.day.mean, **_look(one, out=one.ruled in ("mean out", "both out")))
        if one.day.sd is not None:
            spreads.plot(place, scale * one.day.sd, **_look(one, out=one.ruled in ("spread out", "both out")))
    for limit, style in ((base.lower, "--"), (base.centre, "-"), (base.upper, "--")):
        means.axhline(scale * limit, color=GREY, linewidth=0.8, linestyle=style)
    most = [(place, one.upper_sd) for place, one in enumerate(found.days) if one.upper_sd is not None]
    if most:
        spreads.plot(*zip(*((place, scale * sd) for place, sd in most), strict=True), "--", color=GREY, linewidth=0.8)
    _label_days(spreads, [one.day.label for one in found.days])
    means.set_ylabel(_label("mean of the day", unit, units))
    spreads.set_ylabel(_label("scatter", unit, units))
    means.set_title(f"{title} (open: baseline; diamonds: beyond the limit; dashed: limits)", fontsize="medium")
    _save(figure, path)


def _look(one: JudgedDay, *, out: bool) -> dict[str, Any]:
    """Return how a day is drawn in a panel in which it is, or is not, beyond its limit."""
    colour = LOOKS[1][1] if out else LOOKS[0][1]
    fill = "white" if one.ruled == "baseline" else colour
    return {"marker": "D" if out else "o", "color": colour, "markerfacecolor": fill}


def _label_days(axes: Axes, labels: Sequence[str]) -> None:
    """Label the last day and as many before it as there is room for, aslant: a date is long."""
    every = math.ceil(len(labels) / MOST_LABELS)
    places = range(len(labels) - 1, -1, -every)
    told = [labels[place] for place in places]
    axes.set_xticks(places, told, fontsize="small", rotation=30.0, ha="right", rotation_mode="anchor")


def _label(words: str, unit: str, units: Units) -> str:
    return words if unit == "1" else f"{words} / {units.of(unit)}"


def _figure(width: float, height: float) -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained")


def _save(figure: Figure, path: Path) -> None:
    with whole_or_nothing(path) as temporary:
        ending = path.suffix.lower()
        figure.savefig(temporary, format=ending[1:], dpi=130, metadata={FORMATS[ending][0]: DRAWN_BY})
