"""Readings of gauge studies from tables."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from processing.errors import MalformedStudy
from processing.gauge.readings import Reading
from processing.gauge.tables import OF_RIGS, read_against, read_crossed, read_days, read_nested


def a_table(folder: Path, text: str) -> Path:
    path = folder / "readings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_columns_may_be_called_key_and_rig_and_stand_in_any_order(tmp_path: Path) -> None:
    table = a_table(tmp_path, "value,Rig,key,trial,unit,measurand\n100,a,C4,1,gf,down_weight\n2,a,C4,1,um,key_dip\n")

    assert read_crossed(table) == {
        "down_weight": ("N", [Reading("C4", "a", "1", pytest.approx(0.980665))]),  # 100 gf by definition
        "key_dip": ("mm", [Reading("C4", "a", "1", pytest.approx(0.002))]),
    }


def test_references_may_have_uncertainties(tmp_path: Path) -> None:
    unit, readings = read_against(a_table(tmp_path, "reference,value,u\n1,1.1,0.01\n2,2.1,\n"))

    assert unit == "1"
    assert [reading.reference_u for reading in readings] == [0.01, 0.0]


def test_lines_of_one_day_are_repeats(tmp_path: Path) -> None:
    _, days = read_days(a_table(tmp_path, "day,value\nMon,1\nMon,3\nTue,5\n"))

    assert [(day.label, day.mean, day.dof) for day in days] == [("Mon", 2.0, 1), ("Tue", 5.0, 0)]


def test_days_of_runs_are_told_apart(tmp_path: Path) -> None:
    _, days = read_nested(a_table(tmp_path, "key,run,day,value\nC4,1,a,1\nC4,1,a,3\nC4,2,a,5\n"))

    assert [(day.run, day.mean, day.repeats) for day in days] == [("1", 2.0, 2), ("2", 5.0, 1)]


def test_cells_may_be_separated_by_semicolons_with_decimal_commas(tmp_path: Path) -> None:
    _, readings = read_against(a_table(tmp_path, "reference;value;note\n1,5;1,625;a, b\n2;2.25;\n"))

    assert [(one.reference, one.value) for one in readings] == [(1.5, 1.625), (2.0, 2.25)]


@pytest.mark.parametrize(
    ("read", "told"),
    [
        pytest.param(read_crossed, "no column part and operator", id="a study"),
        pytest.param(lambda path: read_crossed(path, OF_RIGS), "no column key and rig", id="rigs"),
        pytest.param(read_nested, "no column key and run", id="days"),
    ],
)
def test_missing_columns_are_called_as_the_reader_calls_them(
    read: Callable[[Path], object], told: str, tmp_path: Path
) -> None:
    with pytest.raises(MalformedStudy, match=told):
        read(a_table(tmp_path, "day,trial,value\n"))


@pytest.mark.parametrize(
    ("read", "columns"),
    [
        pytest.param(read_crossed, "part,operator,trial,value", id="a study"),
        pytest.param(read_against, "reference,value", id="references"),
        pytest.param(read_days, "day,value", id="a check standard"),
        pytest.param(read_nested, "key,run,day,value", id="days"),
    ],
)
def test_a_table_of_names_alone_is_refused(read: Callable[[Path], object], columns: str, tmp_path: Path) -> None:
    with pytest.raises(MalformedStudy, match="holds no reading"):
        read(a_table(tmp_path, f"{columns}\n\n"))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        pytest.param("", "it is empty", id="nothing"),
        pytest.param("part,operator,value\n", "line 1: no column trial", id="a column is missing"),
        pytest.param("part,operator,trial,value\nC4,Ada,1,x\n", "line 2, value: 'x' is no number", id="no number"),
        pytest.param("part,operator,trial,value\nC4,Ada,1,nan\n", "line 2, value: 'nan' is no number", id="nan"),
        pytest.param("part,operator,trial,value\nC4,,1,1\n", "line 2: operator is empty", id="an empty cell"),
        pytest.param("part,operator,trial,value\nC4,Ada,1\n", "line 2: 3 cells under 4 names", id="a short line"),
        pytest.param(
            "part,operator,trial,value,unit\nC4,Ada,1,1,gf\nC4,Ada,2,1,mm\n", "line 3, unit: mm after N", id="two units"
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(MalformedStudy, match=told):
        read_crossed(a_table(tmp_path, text))


def test_a_table_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_bytes(b"\xff\xfe\x00")

    with pytest.raises(MalformedStudy, match="no UTF-8"):
        read_days(path)
