"""The page of a line: what has changed, every chart, capability, reasons; as HTML, as PDF, and its pictures."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from processing.control.capability import Index
from processing.control.pareto import ParetoRow
from processing.control.rules import RULES, rules_seen
from processing.display import Units as Shown
from processing.display import with_unit
from processing.own_files import PICTURE, SIGNED, demand_own_place
from processing.report.blocks import Answer, Block, Caution, ReportContent, Section, Sentences, TableBlock
from processing.report.charts import Charts
from processing.report.draw import draw_panel, legend_handles
from processing.report.html import write_html
from processing.report.key_table import Table
from processing.report.pdf import write_pdf
from processing.report.style import house_style, new_figure
from processing.report.typesetting import broken
from processing.report.write import PAGE, PAPER
from processing.trend.capable import Capable
from processing.trend.line import Line, LineSeries
from processing.trend.news import caption_of, news_of
from processing.trend.pictures import close_up, measurand_charts, pareto_charts
from processing.trend.sentences import (
    cautions,
    left_out_sentences,
    marked_for,
    news_sentences,
    rate_sentences,
    sigma_words,
    wide_words,
)
from recordings.errors import CannotWrite
from recordings.safe_files import whole_or_nothing

MOST_CLOSE_UPS = 8
"""So many series are shown from close by; the others are in the charts of their measurand."""
DPI = 130
PANEL_INCHES, CAPTION = 4.2, 9.0
LEGEND_COLUMNS = 3
"""Entries of a legend that stand side by side below a panel of a picture, whatever they say."""


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """All that a page tells."""

    line: Line
    capable: tuple[Capable, ...]
    reasons: tuple[ParetoRow, ...]
    limits_name: str | None
    made_by: str
    """The command that makes it again, and the version."""


def demand_places(folder: Path) -> None:
    """Raise FileIsThere or CannotWrite if trend.html or trend.pdf in a folder are not ours to replace."""
    if folder.exists() and not folder.is_dir():
        raise CannotWrite(folder, "it is a file; a folder is asked for")
    if folder.is_dir():
        demand_own_place(folder / "trend.html", PAGE)
        demand_own_place(folder / "trend.pdf", PAPER)


def write_trend(told: Told, folder: Path, shown: Shown) -> list[Path]:
    """Write trend.html, trend.pdf and a picture a chart into a folder, replacing older ones; return their paths.

    Raises FileIsThere, CannotWrite: only what `trend` wrote is replaced.
    """
    demand_places(folder)
    folder.mkdir(parents=True, exist_ok=True)
    shown = marked_for(told.line, shown)
    content = build_page(told, shown)
    html, pdf = folder / "trend.html", folder / "trend.pdf"
    pictures = [(folder / f"{name}.png", charts) for name, charts in _pictures(told, shown)]
    for path, _ in pictures:
        demand_own_place(path, PICTURE)
    with whole_or_nothing(html) as page, whole_or_nothing(pdf) as paper:
        write_html(content, page)
        write_pdf(content, paper)
    for path, charts in pictures:
        _write_picture(charts, path)
    return [html, pdf, *(path for path, _ in pictures)]


def build_page(told: Told, shown: Shown) -> ReportContent:
    """Return the page as its table of contents. shown: units with their mark (`marked_for`)."""
    line = told.line
    sections = (
        Section("In short", _in_short(line, shown)),
        Section("What has changed, from close by", tuple(close_up(line, one, shown) for one in _closest(line))),
        Section("Every chart", tuple(measurand_charts(line, name, shown) for name in _measurands(line))),
        Section("Is the process good enough", _capability(told, shown)),
        Section("Why units were not passed", _reasons(told)),
        Section("Limits and what they rest on", _basis(line, shown)),
        Section("How to make this page again", (Sentences((told.made_by,)),)),
    )
    first, last = line.units.labels[0], line.units.labels[-1]
    title = f"{line.units.model}: {len(line.units.ids)} units in a row"
    subtitle = f"{first} ({line.units.measured_at[0]:%Y-%m-%d}) to {last} ({line.units.measured_at[-1]:%Y-%m-%d})"
    return ReportContent(title, (subtitle,), tuple(section for section in sections if section.blocks))


def _in_short(line: Line, shown: Shown) -> tuple[Block, ...]:
    return (
        Answer("Has anything changed?", news_sentences(line, shown)),
        Answer("How often would this be said of a line that does not change?", rate_sentences(line)),
        *(Caution(text) for text in cautions(line)),
    )


def _closest(line: Line) -> list[LineSeries]:
    """Return the series to be shown from close by: of each piece of news the surest, each series once."""
    leads = {id(news.series[0]): news.series[0] for news in news_of(line)}
    return list(leads.values())[:MOST_CLOSE_UPS]


def _measurands(line: Line) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.measurand for one in line.series))


def _capability(told: Told, shown: Shown) -> tuple[Block, ...]:
    if told.limits_name is None:
        return ()
    if not told.capable:
        return (Sentences((f"{told.limits_name} has no limits for what is charted, or too few units have values.",)),)
    heads = ("What", "Keys", "Worst key", "Limits", "Cp", "Cpk", "Pp", "Ppk", "Rests on", "Expected beyond", "Note")
    rows = tuple(_capable_row(one, shown) for one in told.capable)
    marked = frozenset(row for row, one in enumerate(told.capable) if one.found.ppk.low < 1.0)
    return (
        Sentences((
            "Every key is judged by its own units; the worst key of each group is shown, with 95 % intervals. Cp and "
            "Cpk rest on the spread from one unit to the next, Pp and Ppk on that of all units.",
            "Measuring is part of the spread, so the process itself is a little better than this. Marked: Ppk may be "
            "below 1. Where a chart signals, the numbers tell of the past only.",
            *dict.fromkeys(f"{caption_of(one.measurand)} ({one.group.name}):{wide}" for one in told.capable
                           if (wide := wide_words(one))),
        )),
        TableBlock(f"Against {told.limits_name}", Table(heads, rows), marked_rows=marked),
    )  # fmt: skip


def _capable_row(one: Capable, shown: Shown) -> tuple[str, ...]:
    found = one.found
    by = f"{found.count} units, {found.by}"
    return (
        caption_of(one.measurand), one.group.name, one.key.name, _limits(one, shown),
        *(_index(index) for index in (found.cp, found.cpk, found.pp, found.ppk)), by, _share(found.beyond),
        "" if one.in_control else "a chart signals",
    )  # fmt: skip


def _limits(one: Capable, shown: Shown) -> str:
    lower, upper = (None if end is None else with_unit(end, one.unit, shown) for end in (one.lower, one.upper))
    if lower is None or upper is None:
        return f"from {lower}" if upper is None else f"up to {upper}"
    return f"{lower} to {upper}"


def _index(index: Index | None) -> str:
    return "-" if index is None else f"{index.value:.2f} ({index.low:.2f} to {index.high:.2f})"


def _share(share: float) -> str:
    """Return a share of units in words that a line understands."""
    if share < 1e-6:
        return "under 1 in a million"
    return f"{100.0 * share:.1f} %" if share > 0.001 else f"{1e6 * share:.0f} in a million"


def _reasons(told: Told) -> tuple[Block, ...]:
    outcomes = [outcome for outcome in told.line.units.outcomes if outcome is not None]
    counts = ", ".join(f"{outcomes.count(name)} {name}" for name in ("pass", "fail", "cannot tell"))
    judged = Sentences((f"{len(outcomes)} units were judged: {counts}.",)) if outcomes else None
    charts = pareto_charts(told.reasons) if told.reasons else None
    return tuple(block for block in (judged, charts) if block is not None)


def _basis(line: Line, shown: Shown) -> tuple[Block, ...]:
    heads = ("What", "Keys", "Centre", "Sigma", "Of it measuring, at most", "Charts that signal")
    left_out = left_out_sentences(line)
    return (
        TableBlock("Frozen from the baseline", Table(heads, sigma_words(line, shown))),
        *((Sentences(left_out),) if left_out else ()),
        TableBlock("Rules for the eye, limits at three sigma, not part of the verdict", _rules_table(line)),
    )


def _rules_table(line: Line) -> Table:
    """Return how many series fulfil each rule, beside how often one series would by chance."""
    seen = [
        {found.rule.name for found in rules_seen((values[np.isfinite(values)] - base.centre) / base.sigma)}
        for one in line.series
        for base, values in ((one.watched.baseline, one.watched.values[one.watched.first_charted :]),)
    ]
    rows = tuple(
        (rule.name, f"once in {rule.run_length:.0f} units", f"{sum(rule.name in one for one in seen)} of {len(seen)}")
        for rule in RULES
    )
    return Table(("Rule", "By chance, in one series", "Series that fulfil it"), rows)


def _pictures(told: Told, shown: Shown) -> list[tuple[str, Charts]]:
    line = told.line
    found = [(name, measurand_charts(line, name, shown)) for name in _measurands(line)]
    found += [
        (f"{one.measurand}-{one.group.name.replace(', ', '-')}", close_up(line, one, shown)) for one in _closest(line)
    ]
    return [*found, ("reasons", pareto_charts(told.reasons))] if told.reasons else found


def _write_picture(charts: Charts, path: Path) -> None:
    with house_style(), whole_or_nothing(path) as temporary:
        picture(charts).savefig(temporary, format="png", dpi=DPI, metadata=SIGNED)


def picture(charts: Charts) -> Figure:
    """Return some charts as a figure of their own, caption above and legend below, in lines that fit its width."""
    rows, wide = -(-len(charts.panels) // charts.columns), PANEL_INCHES * charts.columns
    caption = broken(charts.caption, CAPTION, wide - 0.3)
    figure = new_figure(wide, max(2.4, charts.height_mm / 20.0) * rows + 0.5 + 0.15 * len(caption))
    figure.suptitle("\n".join(caption), size=CAPTION, x=0.01, ha="left")
    for place, panel in enumerate(charts.panels, 1):
        draw_panel(figure.add_subplot(rows, charts.columns, place), panel)
    columns = min(len(charts.legend), LEGEND_COLUMNS * charts.columns)
    figure.legend(handles=legend_handles(charts), loc="outside lower center", ncols=columns)
    return figure
