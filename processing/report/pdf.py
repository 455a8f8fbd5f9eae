"""The report as a PDF to print: A4 upright, one page after the other from the same content as the HTML."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.lines import Line2D

from processing.report.content import Picture, ReportContent
from processing.report.key_table import Table
from processing.report.style import DARK, PAGE_INCHES, PALE, RED, house_style

LEFT, TOP, BOTTOM, RIGHT = 0.08, 0.94, 0.06, 0.94
LINE = 0.0165
CHARACTERS = 104
ROWS_A_PAGE = 46
HEAD_CHARACTERS = 13
"""Of a table's head in one line: as long as "uncalibrated)"."""


def write_pdf(content: ReportContent, path: Path) -> None:
    """Write the report to a file that is not there yet or may be replaced."""
    with house_style(), PdfPages(path, metadata={"Title": content.title, "Creator": "keyplumb"}) as pages:
        for number, page in enumerate(_pages(content), 1):
            page.text(RIGHT, 0.03, f"{content.title} · {number}", ha="right", fontsize=7, color=DARK)
            pages.savefig(page)


def _pages(content: ReportContent) -> Iterator[Figure]:
    yield from _text_pages(content)
    yield _picture_page("From bass to treble", content.strips)
    for picture in content.curves:
        yield _picture_page("Curves", picture)
    for picture in content.motion:
        yield _picture_page("Keys in motion", picture)
    if content.budgets is not None:
        yield _picture_page("What the uncertainties are made of", content.budgets)
    for start in range(0, len(content.keys.rows), ROWS_A_PAGE):
        yield _table_page("All keys", Table(content.keys.heads, content.keys.rows[start : start + ROWS_A_PAGE]))
    yield from _flow([("h", "How it was measured"), *(("r", f"{name}: {text}") for name, text in content.method)])


def _text_pages(content: ReportContent) -> Iterator[Figure]:
    lines = [("t", content.title), ("s", content.subtitle), ("h", "In short")]
    lines += [("p", sentence) for sentence in content.summary]
    lines.append(("h", "Keys that stand out"))
    lines += [("o", f"{name}: {why}") for name, why in content.odd_keys] or [("p", "None.")]
    if content.recording_findings:
        lines.append(("h", "About the recording"))
        lines += [("p", f"{name}: {text}") for name, text in content.recording_findings]
    lines.append(("c", content.caution))
    yield from _flow(lines)


STYLES = {
    # kind: size, weight, colour, bullet, space before in lines
    "t": (17, "bold", DARK, "", 0.0),
    "s": (9, "normal", DARK, "", 0.6),
    "h": (11, "bold", DARK, "", 1.2),
    "p": (9, "normal", DARK, "· ", 0.2),
    "o": (9, "normal", DARK, "○ ", 0.2),
    "r": (9, "normal", DARK, "", 0.2),
    "c": (9, "normal", RED, "", 1.4),
}


def _flow(lines: list[tuple[str, str]]) -> Iterator[Figure]:
    """Yield as many pages as the lines need, each line wrapped to the page's width."""
    page, y = _new_page(), TOP
    for kind, text in lines:
        size, weight, colour, bullet, before = STYLES[kind]
        wrapped = textwrap.wrap(bullet + text, CHARACTERS, subsequent_indent=" " * len(bullet)) or [""]
        height = LINE * (before + len(wrapped) * size / 9.0)
        if y - height < BOTTOM:
            yield page
            page, y = _new_page(), TOP
        page.text(
            LEFT,
            y - LINE * before,
            "\n".join(wrapped),
            size=size,
            weight=weight,
            color=colour,
            va="top",
            linespacing=1.25,
        )
        y -= height
    yield page


def _new_page() -> Figure:
    return Figure(figsize=PAGE_INCHES)


def _picture_page(title: str, picture: Picture) -> Figure:
    figure = picture.draw()
    width, height = figure.get_size_inches()
    figure.set_size_inches(PAGE_INCHES)
    share = min(height / PAGE_INCHES[1], 0.82)
    engine = figure.get_layout_engine()
    if isinstance(engine, ConstrainedLayoutEngine):
        engine.set(rect=(0.04, 0.90 - share, min(width / PAGE_INCHES[0], 0.92), share))
    figure.text(LEFT, TOP, title, size=11, weight="bold", color=DARK, va="top")
    caption = "\n".join(textwrap.wrap(picture.caption, CHARACTERS))
    figure.text(LEFT, max(0.90 - share - 0.01, 0.05), caption, size=8, color=DARK, va="top")
    return figure


def _table_page(title: str, table: Table) -> Figure:
    page = _new_page()
    page.text(LEFT, TOP, title, size=11, weight="bold", color=DARK, va="top")
    step = (RIGHT - LEFT) / (len(table.heads) + 0.6)
    places = [LEFT + step * column for column in range(len(table.heads))]
    y = TOP - 0.03
    for place, head in zip(places, table.heads, strict=True):
        lines = textwrap.wrap(head, HEAD_CHARACTERS, break_long_words=False)
        page.text(place, y, "\n".join(lines), size=5.4, weight="bold", color=DARK, va="top")
    y -= 0.055
    for row in table.rows:
        odd = row[-1] == "stands out"
        for place, cell in zip(places, row, strict=True):
            page.text(place, y, cell, size=7.5, weight="bold" if odd else "normal", color=DARK, va="top")
        page.add_artist(_rule(y - 0.0135))
        y -= LINE
    return page


def _rule(y: float) -> Line2D:
    return Line2D([LEFT, RIGHT], [y, y], color=PALE, lw=0.4)
