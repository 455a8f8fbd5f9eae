"""Charts as pictures: nothing runs off them or into each other, however few units there are."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from processing.control.settings import ControlSettings
from processing.display import Units
from processing.report.charts import Charts
from processing.report.key_table import Table
from processing.report.style import house_style
from processing.report.typesetting import column_widths, row_lines
from processing.trend.groups import GROUPS
from processing.trend.line import Line, watch_line
from processing.trend.page import picture
from processing.trend.pictures import close_up, measurand_charts, pareto_charts
from processing.unit_store import UnitStore
from tests.processing.trend.lines import a_line
from tests.processing.trend.test_reasons import rows

QUICK = ControlSettings(replicates=40_000)


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Line:
    store = a_line(tmp_path_factory.mktemp("short") / "units", 22)
    return watch_line(UnitStore(store), "moss", measurands=("friction",), baseline=16, settings=QUICK)


def only(line: Line, groups: int) -> Line:
    return Line(line.units, line.statistic, line.settings, line.series[:groups], (), line.matrices)


def charts_of(line: Line) -> dict[str, Charts]:
    return {
        "close up": close_up(line, line.series[0], Units()),
        "six groups": measurand_charts(line, "friction", Units()),
        "one group": measurand_charts(only(line, 1), "friction", Units()),
        "reasons": pareto_charts(rows(20)),
    }


@pytest.mark.parametrize("name", ["close up", "six groups", "one group", "reasons"])
def test_caption_and_legend_stay_on_the_picture(short: Line, name: str) -> None:
    with house_style():
        figure = picture(charts_of(short)[name])
        figure.draw_without_rendering()

    assert figure._suptitle is not None
    for part in (figure._suptitle, figure.legends[0]):
        extent = part.get_window_extent()
        assert extent.x0 >= 0.0
        assert extent.x1 <= figure.bbox.width


@pytest.mark.parametrize(("groups", "columns"), [(1, 1), (2, 2), (3, 3), (len(GROUPS), 3)])
def test_few_groups_leave_no_empty_columns(short: Line, groups: int, columns: int) -> None:
    assert measurand_charts(only(short, groups), "friction", Units()).columns == columns


def test_many_units_name_the_first_and_the_last(short: Line) -> None:
    labels = [f"moss-{unit:03}" for unit in range(1, 301)]
    line = replace(only(short, 1), units=replace(short.units, labels=labels))

    ticks = measurand_charts(line, "friction", Units()).panels[0].x.ticks

    assert ticks is not None
    assert (ticks[0], ticks[-1], len(ticks)) == ((1.0, "001"), (300.0, "300"), 5)


def test_long_names_of_units_leave_room_for_each_other(short: Line) -> None:
    """Units without a serial number are called by the time of measuring."""
    labels = [f"2026-03-01 08:{unit:02}" for unit in range(22)]
    line = replace(only(short, 1), units=replace(short.units, labels=labels))

    ticks = measurand_charts(line, "friction", Units()).panels[0].x.ticks

    assert ticks is not None
    assert len(ticks) == 2


@pytest.mark.parametrize("name", ["close up", "six groups"])
def test_serial_numbers_along_an_axis_have_room_beside_each_other(short: Line, name: str) -> None:
    for panel in charts_of(short)[name].panels:
        assert panel.x.ticks is not None
        places = [place for place, _ in panel.x.ticks]
        assert len(places) <= 5
        apart = {second - first for first, second in pairwise(places)}
        assert min(apart) >= 0.2 * (panel.x.high - panel.x.low)


def test_words_of_a_table_stay_whole_where_there_is_room() -> None:
    row = ("Break-away", *["0.07 (0.01 to 0.21)"] * 11)
    table = Table(("What", *["Ppk"] * 11), (row,))

    widths = column_widths(table, 7.0, 6.2, 6.9)

    assert row_lines(row, widths, 7.0, "bold")[0] == ["Break-away"]
    assert sum(widths) <= 6.9
