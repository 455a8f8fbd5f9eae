"""Budgets as bars: for a few main numbers of one key, what each source gives to the uncertainty, and what all give.

Type A is dark and plain, type B light and hatched, so that they differ in grey too; the sum stands on top.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from processing.budget.lines import Budget, Line
from processing.budget.propagation import combine, shares
from processing.budget_view import by_contribution, plain
from processing.display import Units, count_of, measured
from processing.features.table import FEATURES
from processing.report.charts import Axis, Bars, Charts, Note, Panel, used_looks
from processing.stages import KeyResult

SHOWN = ("down_weight", "key_dip", "letoff_peak_position")
ROOM_FOR_WORDS = 1.9
"""The axis goes on so far beyond the longest bar."""
ROW_MM = 4.6
"""Height of a row, so that its words fit beside its bar."""
LEAST_SHARE = 0.005
"""Of the variance; lines of one type that each give less are drawn as one."""
WORDS = {"A": "type A: from repeated values", "B": "type B: from what is known of the rig"}


def budgets_of(result: KeyResult) -> list[Budget]:
    """Return the budgets that are drawn of a key: those of SHOWN that it has."""
    return [budget for name in SHOWN if (budget := result[name].budget) is not None]


def budget_charts(result: KeyResult, units: Units, *, calibrated: bool, whose: str = "") -> Charts:
    """Return the bars, a panel a number. The key must have one of SHOWN."""
    panels = tuple(_panel(budget, result, units) for budget in budgets_of(result))
    return Charts(
        caption=f"What the uncertainties of {whose}{result.key.name} are made of. Bars are standard uncertainties in "
        "the unit of the number; they add up as squares, but for lines that err together, which share what they have "
        f"in common. For any other number: "
        "keyplumb measure --budget KEY:MEASURAND."
        + ("" if calibrated else " Uncalibrated: no bar says how far the scales of force and travel are off."),
        panels=panels,
        columns=1,
        height_mm=max(62.0, ROW_MM * max(len(panel.bars) for panel in panels) + 20.0),
        legend=used_looks(panels),
    )


def _rows(budget: Budget, units: Units) -> list[tuple[str, str, str, float, str]]:
    """Return name, look, what the look means, length and words of each bar: the combined uncertainty, then the lines,
    largest first, with their shares of the variance; small ones of one type together."""
    lines, part, shown = by_contribution(budget), shares(budget), units.of(budget.unit)
    total = units.value(combine(budget).u, budget.unit)
    rows = [("all together", "all together", "all together", total, f"{plain(total)} {shown}")]

    def add(name: str, kind: str, together: list[Line]) -> None:
        length = units.value(hypot(*(line.contribution for line in together)), budget.unit)
        share = 100.0 * sum(part[line.name] for line in together)
        if length > 0.0:
            words = f"{plain(length)} {shown} · {share:.0f} % of the variance"
            rows.append((name, f"type {kind}", WORDS[kind], length, words))

    large = [line for line in lines if abs(part[line.name]) >= LEAST_SHARE]
    for line in large:
        add(line.name, line.kind, [line])
    for kind in WORDS:
        small = [line for line in lines if line not in large and line.kind == kind and line.contribution != 0.0]
        if small:
            add(f"{count_of(len(small), 'small line')}, {kind}", kind, small)
    return rows


def _panel(budget: Budget, result: KeyResult, units: Units) -> Panel:
    caption = next(feature.caption for feature in FEATURES if feature.name == budget.measurand)
    shown, rows = units.of(budget.unit), _rows(budget, units)
    longest = max(length for *_, length, _ in rows)
    ticks = tuple((float(place), name) for place, (name, *_) in enumerate(rows))
    return Panel(
        title=f"{result.key.name}, {caption}: {measured(result[budget.measurand], units)}",
        x=Axis(
            label=f"standard uncertainty ({shown})",
            unit=shown,
            low=0.0,
            high=ROOM_FOR_WORDS * longest or 1.0,
            decimals=4,
        ),
        y=Axis(label="", unit="", low=-0.6, high=len(rows) - 0.4, decimals=0, ticks=ticks, downward=True),
        bars=tuple(
            Bars(
                label=label,
                look=look,
                at=np.array([float(place)]),
                low=np.zeros(1),
                high=np.array([length]),
                said=(f"{name}: {words}",),
                thick=0.7,
                lying=True,
            )
            for place, (name, look, label, length, words) in enumerate(rows)
        ),
        notes=tuple(Note(length, place + 0.25, words) for place, (*_, length, words) in enumerate(rows)),
    )
