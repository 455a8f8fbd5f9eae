"""The report's pictures: legible, complete, and the same bytes each time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from processing.display import Units
from processing.pipeline import analyse
from processing.report.content import ReportContent, build_content
from processing.report.html import as_svg, write_html
from processing.report.style import house_style
from processing.report.write import write_report
from recordings.keys import Key
from recordings.types import DiaryEntry, KeyRecording, RawEvents, RawTrace
from tests.builders import C4, QUICK, Press, SyntheticKey, a_header, a_recording

NUMBERS = (*range(36, 48), 60)


@pytest.fixture(scope="module")
def content() -> ReportContent:
    odd = SyntheticKey(down=0.62, up=0.16)
    keys = [a_recording(odd if n == 42 else SyntheticKey(), Press(seed=n), name=Key(n)) for n in NUMBERS]
    return build_content(analyse(a_header("<bench & test>"), keys, QUICK), Units())


def drawn(figure: Figure) -> Figure:
    FigureCanvasAgg(figure).draw()
    return figure


def pictures(content: ReportContent) -> Iterator[Figure]:
    with house_style():
        assert content.budgets is not None
        for picture in (content.strips, *content.curves, content.budgets):
            yield drawn(picture.draw())


def test_every_panel_is_wide_enough_to_read(content: ReportContent) -> None:
    for figure in pictures(content):
        for axes in figure.axes:
            if axes.get_visible():
                assert axes.get_position().width * figure.get_figwidth() > 2.5  # inches


def test_no_label_of_an_axis_is_cut_off(content: ReportContent) -> None:
    for figure in pictures(content):
        page = figure.bbox
        for axes in (axes for axes in figure.axes if axes.get_visible()):
            for label in filter(Text.get_text, (axes.xaxis.label, axes.yaxis.label, axes.title)):
                box = label.get_window_extent()
                assert box.x0 >= page.x0 - 1
                assert box.x1 <= page.x1 + 1
                assert box.y0 >= page.y0 - 1
                assert box.y1 <= page.y1 + 1


def test_the_odd_key_is_named_with_its_reason_and_drawn_beside_a_plain_one(content: ReportContent) -> None:
    ((name, why),) = content.odd_keys

    assert name == "D4"
    assert "more friction" in why
    assert any("D4" in picture.caption for picture in content.curves)
    assert any("pale" in axes.get_title(loc="left") for figure in pictures(content) for axes in figure.axes)


def test_names_are_written_safely_into_the_page(content: ReportContent, tmp_path: Path) -> None:
    write_html(content, tmp_path / "r.html")
    page = (tmp_path / "r.html").read_text(encoding="utf-8")

    assert "&lt;bench &amp; test&gt;" in page
    assert "<bench" not in page


def test_the_same_recording_gives_the_same_picture(content: ReportContent) -> None:
    assert as_svg(content.strips) == as_svg(content.strips)


def test_a_report_replaces_an_older_one_whole(tmp_path: Path) -> None:
    result = analyse(a_header(), [a_recording()], QUICK)
    (tmp_path / "r.html").write_text("old")
    html, pdf = write_report(result, tmp_path / "r", Units("N", "mm"))

    assert "old" not in html.read_text(encoding="utf-8")[:10]
    assert pdf.stat().st_size > 5000
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.html", "r.pdf"]


def test_what_happened_at_the_rig_stands_beside_the_numbers() -> None:
    at = datetime(2026, 3, 1, tzinfo=UTC)
    diary = (DiaryEntry(at, "check", "the rig is fit"), DiaryEntry(at, "cable", "the cable was pulled"))
    content = build_content(analyse(a_header(), [a_recording()], QUICK, diary=diary), Units())

    assert ("Check of the rig before", "the rig is fit") in content.method
    assert ("Cable", "the cable was pulled") in content.method


def test_a_key_of_which_nothing_was_kept_is_missing_with_a_reason() -> None:
    nothing = KeyRecording(C4, RawTrace.none(), RawEvents.none())
    (key,) = analyse(a_header(), [nothing], QUICK).keys

    assert key["down_weight"].value is None
    assert key["down_weight"].reason


def test_bars_of_a_budget_say_their_numbers_inside_the_page_and_nothing_lies_on_the_legend(
    content: ReportContent,
) -> None:
    assert content.budgets is not None
    with house_style():
        figure = drawn(content.budgets.draw())
    legend = figure.axes[0].get_legend()
    assert legend is not None
    words = [text.get_window_extent() for axes in figure.axes for text in (*axes.texts, axes.title)]

    assert len(words) >= 12
    for box in (*words, legend.get_window_extent()):
        assert box.x1 <= figure.bbox.x1
        assert box.y1 <= figure.bbox.y1
    assert not any(box.overlaps(legend.get_window_extent()) for box in words)


def test_a_report_without_a_number_has_no_bars() -> None:
    nothing = a_recording(how=Press(strokes=0, rest_s=2.0))

    assert build_content(analyse(a_header(), [nothing], QUICK), Units()).budgets is None
