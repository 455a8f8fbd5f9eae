"""Pages of paper, filled from the top: text, tables and charts, each going on overleaf where the page ends."""

from __future__ import annotations

from math import ceil
from typing import Protocol

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from processing.report.blocks import TableBlock
from processing.report.charts import Charts, Panel
from processing.report.draw import Frame, draw_panel, draw_tile, legend_handles
from processing.report.style import DARK, PAGE_INCHES, PALE
from processing.report.typesetting import GAP_INCHES, broken, column_widths, row_lines, width_inches

WIDE, HIGH = PAGE_INCHES
LEFT, RIGHT, TOP, BOTTOM = 0.7, WIDE - 0.6, HIGH - 0.6, 0.65
SPACING = 1.3
CELL, HEAD_CELL = 7.0, 6.2
POINTS = 72.0
MM = 25.4
AXES_LEFT, AXES_RIGHT, AXES_TOP, AXES_BOTTOM = 0.55, 0.12, 0.24, 0.42
"""Room around a panel's frame for what is written there."""
UNLABELLED_BOTTOM = 0.26
"""The same below an axis without a label: that of keys."""
TILE_GAP = 0.04
CAPTION = 8.0


class Pages(Protocol):
    """What takes finished pages: a PDF file that is being written."""

    def savefig(self, page: Figure) -> None:
        """Take a page."""


class Paper:
    """The pages of one document."""

    def __init__(self, pages: Pages, title: str) -> None:
        self._pages, self._title, self._number = pages, title, 0
        self._page, self._y = Figure(figsize=PAGE_INCHES), TOP

    def end(self) -> None:
        """Write the last page."""
        self._turn()

    def _turn(self) -> None:
        self._number += 1
        first, *more = broken(self._title, 7.0, RIGHT - LEFT - 0.5)
        foot = f"{first} …" if more else first
        self._put(RIGHT, 0.4, f"{foot} · {self._number}", 7.0, ha="right", va="center")
        self._pages.savefig(self._page)
        self._page, self._y = Figure(figsize=PAGE_INCHES), TOP

    def keep_together(self, needs: float) -> None:
        """Turn the page if there is less room than that."""
        if self._y - needs < BOTTOM and self._y < TOP:
            self._turn()

    def _put(self, x: float, y: float, words: str, size: float, **how: object) -> None:
        self._page.text(x / WIDE, y / HIGH, words, **({"size": size, "color": DARK, "va": "top"} | how))  # type: ignore[arg-type]

    def text(
        self,
        words: str,
        size: float,
        *,
        weight: str = "normal",
        colour: str = DARK,
        bullet: str = "",
        before: float = 0.0,
    ) -> None:
        """Write a paragraph."""
        self._y -= before if self._y < TOP else 0.0
        indent = width_inches(bullet, size)
        line_high = SPACING * size / POINTS
        for number, line in enumerate(broken(words, size, RIGHT - LEFT - indent, weight)):
            self.keep_together(line_high)
            if number == 0 and bullet:
                self._put(LEFT, self._y, bullet, size, color=colour)
            self._put(LEFT + indent, self._y, line, size, weight=weight, color=colour)
            self._y -= line_high

    def table(self, block: TableBlock) -> None:
        """Write a table; its heads stand on every page of it."""
        if block.title:
            self.keep_together(0.9)
            self.text(block.title, 10.0, weight="bold", before=0.15)
        widths = column_widths(block.table, CELL, HEAD_CELL, RIGHT - LEFT)
        self._y -= 0.06
        self._heads(block, widths)
        for place, row in enumerate(block.table.rows):
            weight = "bold" if place in block.marked_rows else "normal"
            lines = row_lines(row, widths, CELL, weight)
            if self._y - self._row_high(lines, CELL) < BOTTOM:
                self._turn()
                self._heads(block, widths)
            self._row(block, lines, widths, CELL, weight)

    def _heads(self, block: TableBlock, widths: list[float]) -> None:
        self._row(block, row_lines(block.table.heads, widths, HEAD_CELL, "bold"), widths, HEAD_CELL, "bold")

    @staticmethod
    def _row_high(lines: list[list[str]], size: float) -> float:
        return max(len(cell) for cell in lines) * 1.2 * size / POINTS + 0.04

    def _row(self, block: TableBlock, lines: list[list[str]], widths: list[float], size: float, weight: str) -> None:
        x = LEFT
        for column, (cell, width) in enumerate(zip(lines, widths, strict=True)):
            to_right = block.numbers and 0 < column < len(widths) - 1
            at, ha = (x + width, "right") if to_right else (x, "left")
            self._put(at, self._y, "\n".join(cell), size, weight=weight, ha=ha, linespacing=1.15)
            x += width + GAP_INCHES
        self._y -= self._row_high(lines, size)
        rule = [(self._y + 0.022) / HIGH] * 2
        self._page.add_artist(Line2D([LEFT / WIDE, RIGHT / WIDE], rule, color=PALE, lw=0.4))

    def charts_need(self, charts: Charts) -> float:
        """Return how much room legend and first row of some charts take."""
        high = charts.height_mm / MM
        if charts.tiles:  # a page holds them all
            high = min((high + TILE_GAP) * ceil(len(charts.panels) / charts.columns) + 0.3, TOP - BOTTOM - 0.6)
        return high + _caption_high(charts) + 0.25 * (1 + len(charts.legend) // 5)

    def charts(self, charts: Charts) -> None:
        """Draw panels in rows, with their legend above and their caption below."""
        self.keep_together(self.charts_need(charts))
        self._y -= 0.06
        self._legend(charts)
        high, gap = charts.height_mm / MM, TILE_GAP if charts.tiles else 0.1
        wide = (RIGHT - LEFT + gap) / charts.columns - gap
        tiles_on = None
        for start in range(0, len(charts.panels), charts.columns):
            is_last = start + charts.columns >= len(charts.panels)
            if self._y - high - (_caption_high(charts) if is_last else 0.0) < BOTTOM:
                self._turn()
                tiles_on = None
            if charts.tiles and tiles_on is None:
                tiles_on = self._whole_page()
            for column, panel in enumerate(charts.panels[start : start + charts.columns]):
                frame = (LEFT + column * (wide + gap), self._y - high, wide, high)
                if tiles_on is not None:
                    draw_tile(tiles_on, panel, frame)
                else:
                    draw_panel(self._axes(_inner(frame, panel)), panel)
            self._y -= high + gap
        self.keep_together(0.3)
        self.text(charts.caption, CAPTION, before=0.02)
        self._y -= 0.08

    def _axes(self, frame: Frame) -> Axes:
        x, y, wide, high = frame
        return self._page.add_axes((x / WIDE, y / HIGH, wide / WIDE, high / HIGH))

    def _whole_page(self) -> Axes:
        axes = self._axes((0.0, 0.0, WIDE, HIGH))
        axes.set_axis_off()
        axes.set(xlim=(0.0, WIDE), ylim=(0.0, HIGH), autoscale_on=False)
        return axes

    def _legend(self, charts: Charts) -> None:
        handles = legend_handles(charts)
        if not handles:
            return
        rows = _legend_rows([str(handle.get_label()) for handle in handles])
        for first, last in rows:
            self._page.legend(
                handles=handles[first:last],
                loc="upper left",
                bbox_to_anchor=(LEFT / WIDE, self._y / HIGH),
                ncols=last - first,
                borderaxespad=0.0,
                borderpad=0.1,
                columnspacing=1.2,
            )
            self._y -= 0.19
        self._y -= 0.04


def _legend_rows(labels: list[str]) -> list[tuple[int, int]]:
    """Return first and last of the labels that fit into each line."""
    rows, first, used = [], 0, 0.0
    for place, label in enumerate(labels):
        wide = width_inches(label, 7.0) + 0.42
        if used + wide > RIGHT - LEFT and place > first:
            rows.append((first, place))
            first, used = place, 0.0
        used += wide
    return [*rows, (first, len(labels))]


def _caption_high(charts: Charts) -> float:
    """Return how much room a caption needs: it stands under its last row of panels, never overleaf."""
    return 0.15 + len(broken(charts.caption, CAPTION, RIGHT - LEFT)) * SPACING * CAPTION / POINTS


def _inner(frame: Frame, panel: Panel) -> Frame:
    """Return where the axes of a panel lie in its frame: as far in as what is written beside them needs."""
    x, y, wide, high = frame
    written = max((width_inches(words, 8.0) for _, words in panel.y.ticks or ()), default=0.0)
    left = max(AXES_LEFT, written + 0.12)
    bottom = AXES_BOTTOM if panel.x.label else UNLABELLED_BOTTOM
    return x + left, y + bottom, wide - left - AXES_RIGHT, high - bottom - AXES_TOP
