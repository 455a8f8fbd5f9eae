"""Budgets as bars: for a few main numbers of one key, what each source gives to the uncertainty, and what all give.

Type A is dark and plain, type B light and hatched, so that they differ in grey too; the sum stands on top.
"""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from processing.budget.lines import Budget
from processing.budget.propagation import combine, shares
from processing.budget_view import by_contribution, plain
from processing.display import Units, measured
from processing.features.table import FEATURES
from processing.report.style import BLUE, DARK, ORANGE, new_figure
from processing.stages import KeyResult

SHOWN = ("down_weight", "key_dip", "letoff_peak_position")
ROOM_FOR_WORDS = 1.60
"""The axis goes on so far beyond the longest bar."""
LEGEND_INCHES, LEGEND_OVER_INCHES = 0.35, 0.21
"""Free room above the panels, and how far above the first one's frame the legend begins: over its title."""
PANEL_INCHES, BAR_INCHES = 0.75, 0.22
LOOK = {"A": (BLUE, ""), "B": (ORANGE, "////")}


def budgets_of(result: KeyResult) -> list[Budget]:
    """Return the budgets that are drawn of a key: those of SHOWN that it has."""
    return [budget for name in SHOWN if (budget := result[name].budget) is not None]


def draw_budgets(result: KeyResult, units: Units) -> Figure:
    """Return the figure: a panel a number. The key must have one of SHOWN."""
    budgets = budgets_of(result)
    heights = [PANEL_INCHES + BAR_INCHES * (len(budget.lines) + 1) for budget in budgets]
    figure = new_figure(7.6, sum(heights) + LEGEND_INCHES, head_inches=LEGEND_INCHES)
    all_axes = figure.subplots(len(budgets), 1, squeeze=False, gridspec_kw={"height_ratios": heights})[:, 0]
    for axes, budget in zip(all_axes, budgets, strict=True):
        _draw_one(axes, budget, result, units)
    over = 1.0 + LEGEND_OVER_INCHES / (BAR_INCHES * (len(budgets[0].lines) + 1))
    legend = all_axes[0].legend(handles=_legend(), loc="lower left", bbox_to_anchor=(0.0, over), ncols=3)
    legend.set_in_layout(False)
    return figure


def _draw_one(axes: Axes, budget: Budget, result: KeyResult, units: Units) -> None:
    """Draw the combined uncertainty on top, then the lines, largest first; each bar says its share of the variance."""
    caption = next(feature.caption for feature in FEATURES if feature.name == budget.measurand)
    lines, part = by_contribution(budget), shares(budget)
    total = units.value(combine(budget).u, budget.unit)
    shown = units.of(budget.unit)
    axes.set_title(f"{result.key.name}, {caption}: {measured(result[budget.measurand], units)}")
    axes.set_xlabel(f"standard uncertainty ({shown})")
    axes.barh(0, total, color=DARK, height=0.7)
    _say(axes, total, 0, f"{plain(total)} {shown}")
    for place, line in enumerate(lines, 1):
        length = units.value(abs(line.contribution), budget.unit)
        colour, hatch = LOOK[line.kind]
        axes.barh(place, length, color=colour, hatch=hatch, edgecolor="white", linewidth=0.0, height=0.7)
        _say(axes, length, place, f"{plain(length)} {shown} · {100.0 * part[line.name]:.0f} % of the variance")
    axes.set_yticks(range(len(lines) + 1), ["all together", *(line.name for line in lines)])
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.invert_yaxis()
    longest = max([total, *(units.value(abs(line.contribution), budget.unit) for line in lines)])
    axes.set_xlim(0.0, ROOM_FOR_WORDS * longest or 1.0)


def _say(axes: Axes, end: float, place: int, words: str) -> None:
    axes.annotate(words, (end, place), xytext=(4, 0), textcoords="offset points", va="center", fontsize=7, color=DARK)


def _legend() -> list[Patch]:
    words = {"A": "type A: from repeated values", "B": "type B: from what is known of the rig"}
    return [
        Patch(facecolor=DARK, label="all together"),
        *(
            Patch(facecolor=colour, hatch=hatch, edgecolor="white", linewidth=0.0, label=words[kind])
            for kind, (colour, hatch) in LOOK.items()
        ),
    ]
