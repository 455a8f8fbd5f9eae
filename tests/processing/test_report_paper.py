"""The report on paper: A4, nothing cut off, words broken by their real widths."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from processing.display import Units
from processing.report.content import build_content
from processing.report.key_table import Table
from processing.report.paper import Paper
from processing.report.pdf import fill, write_pdf
from processing.report.recorded import Recorded
from processing.report.style import PAGE_INCHES, house_style
from processing.report.typesetting import broken, column_widths, width_inches
from tests.processing.keyboards import a_keyboard, recorded

EDGE_INCHES = 0.2
"""No printer needs more."""
A_WORD = "uncalibrated"
LONG = "prototype of the stage action with the heavier hammers, after its last regulation"


class Kept:
    """In place of the file: keeps the pages."""

    def __init__(self) -> None:
        self.pages: list[Figure] = []

    def savefig(self, page: Figure) -> None:
        FigureCanvasAgg(page).draw()
        self.pages.append(page)


def pages_of(*recordings: Recorded) -> list[Figure]:
    kept = Kept()
    content = build_content(recordings, Units())
    with house_style():
        fill(Paper(kept, content.title), content)
    return kept.pages


def words_on(page: Figure) -> Iterator[Text]:
    """Yield all that is written on a page; matplotlib keeps ticks beyond the axes that it does not draw."""
    yield from page.texts
    for legend in page.legends:
        yield from legend.get_texts()
    for axes in page.axes:
        yield from axes.texts
        if axes.axison:
            yield from (axes.xaxis.label, axes.yaxis.label, *axes.findobj(_is_title))
            for axis in (axes.xaxis, axes.yaxis):
                low, high = sorted(axis.get_view_interval())
                yield from (tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high)


def _is_title(one: object) -> bool:
    return isinstance(one, Text) and one.axes is not None and one.get_text() == one.axes.get_title(loc="left")


KINDS = {
    "a keyboard": lambda: (recorded(a_keyboard(sticky=frozenset({42}))),),
    "a single key": lambda: (recorded(a_keyboard((40,))),),
    "keys far apart": lambda: (recorded(a_keyboard((40, 61, 64))),),
    "bad keys alone": lambda: (recorded(a_keyboard(range(1, 4), bad=frozenset(range(1, 4)))),),
    "two keyboards with long names": lambda: (
        recorded(a_keyboard(range(30, 45), instrument=f"first {LONG}")),
        recorded(a_keyboard(range(30, 45), instrument=f"second {LONG}")),
    ),
}


@pytest.mark.parametrize("kind", KINDS)
def test_no_word_is_cut_off_at_the_edge_of_a_page(kind: str) -> None:
    for number, page in enumerate(pages_of(*KINDS[kind]()), 1):
        assert tuple(page.get_size_inches()) == PAGE_INCHES
        for text in filter(Text.get_text, words_on(page)):
            box, found = text.get_window_extent(), f"page {number}: {text.get_text()!r}"
            assert box.x0 >= EDGE_INCHES * page.dpi, found
            assert box.x1 <= (PAGE_INCHES[0] - EDGE_INCHES) * page.dpi, found
            assert box.y0 >= EDGE_INCHES * page.dpi, found
            assert box.y1 <= (PAGE_INCHES[1] - EDGE_INCHES) * page.dpi, found


def test_the_first_page_holds_the_first_two_answers_and_the_picture() -> None:
    first = pages_of(recorded(a_keyboard(sticky=frozenset({42}))))[0]
    said = " ".join(text.get_text() for text in words_on(first))

    assert "Can these numbers be relied on?" in said
    assert "How do the keys feel?" in said
    assert len(first.axes) == 2


def test_words_on_a_page_do_not_lie_on_one_another() -> None:
    for page in pages_of(recorded(a_keyboard(range(36, 49), sticky=frozenset({42})))):
        boxes = [(text.get_text(), text.get_window_extent()) for text in page.texts if text.get_text().strip()]
        for place, (words, box) in enumerate(boxes):
            for other, beside in boxes[place + 1 :]:
                across = min(box.x1, beside.x1) - max(box.x0, beside.x0)
                along = min(box.y1, beside.y1) - max(box.y0, beside.y0)
                assert across < 1.0 or along < 3.0, (words, other)  # of 100 pixels an inch: descenders may reach over


def test_names_along_an_axis_do_not_lie_on_one_another() -> None:
    axes = [axes for kind in KINDS.values() for page in pages_of(*kind()) for axes in page.axes if axes.axison]

    assert len(axes) > 40
    for each in axes:
        for axis, along in ((each.xaxis, "x"), (each.yaxis, "y")):
            low, high = sorted(axis.get_view_interval())
            ticks = [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
            boxes = [tick.get_window_extent() for tick in ticks if tick.get_text()]
            ends = sorted((getattr(box, f"{along}0"), getattr(box, f"{along}1")) for box in boxes)
            assert all(end <= begin + 1.0 for (_, end), (begin, _) in pairwise(ends)), each.get_title(loc="left")


@settings(max_examples=40)
@given(st.text(alphabet=" abcdefgmW±%", max_size=200), st.floats(0.3, 5.0))
def test_broken_lines_are_narrow_enough_and_lose_no_letter(words: str, wide_inches: float) -> None:
    lines = broken(words, 9.0, wide_inches)

    assert all(width_inches(line, 9.0) <= wide_inches for line in lines)
    assert "".join("".join(lines).split()) == "".join(words.split())


def test_widths_are_those_that_the_page_is_drawn_with() -> None:
    page = Figure(figsize=(12.0, 2.0), dpi=72)
    with house_style():
        text = page.text(0.0, 0.5, "Key dip 9.96 ± 0.02 mm (uncalibrated)", size=40.0)
        FigureCanvasAgg(page).draw()

    assert text.get_window_extent().width / 72 == pytest.approx(width_inches(text.get_text(), 40.0), rel=0.02)


def test_columns_fill_no_more_than_the_page_and_keep_whole_words_where_they_can() -> None:
    table = Table(("Key", "Why"), (("C4", " ".join([A_WORD] * 40)), ("A#7", "short")))
    widths = column_widths(table, 7.0, 6.0, 7.0)

    assert sum(widths) <= 7.0
    assert widths[0] == pytest.approx(width_inches("A#7", 7.0, "bold"))
    assert widths[1] > width_inches(A_WORD, 7.0)


def test_a_report_is_one_pdf_of_a4_pages_without_a_date(tmp_path: Path) -> None:
    content = build_content([recorded(a_keyboard((40,)))], Units())
    write_pdf(content, tmp_path / "r.pdf")
    written = (tmp_path / "r.pdf").read_bytes()

    assert written.startswith(b"%PDF")
    assert b"/MediaBox [ 0 0 595.44 841.68 ]" in written  # 8.27 x 11.69 inches: A4 (ISO 216) to a hundredth
    assert b"CreationDate" not in written
