"""`keyplumb export`: the same numbers in every format, nothing written over, nothing half written."""

from __future__ import annotations

import importlib.util
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pyarrow.parquet
import pytest

import keyplumb
import processing.export.files
from keyplumb.exit_codes import BAD_INPUT, DONE, WRONG_USE
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording
from tests.keyplumb.test_commands import run

READ = {".csv": pd.read_csv, ".parquet": pd.read_parquet, ".xlsx": pd.read_excel}


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """C4 and C#4 as they should be, and a D4 that nobody has pressed."""
    path = tmp_path_factory.mktemp("export") / "r.h5"
    presses = (Press(), Press(seed=2), Press(strokes=0))
    keys = [a_recording(None, how, name=Key(number)) for number, how in zip((40, 41, 42), presses, strict=True)]
    write_recording(path, a_header("=1+1"), keys)
    return path


def exported(recording: Path, to: Path, table: str = "keys") -> pd.DataFrame:
    assert run("export", recording, "--to", to, "--table", table) == DONE
    return READ[to.suffix](to)


@pytest.mark.parametrize("ending", READ)
def test_every_format_holds_the_numbers_with_units_uncertainties_flags_and_reasons(
    ending: str, recording: Path, tmp_path: Path
) -> None:
    c4 = keyplumb.measure(recording).result.keys[0]
    rows = exported(recording, tmp_path / f"t{ending}").set_index("key")

    for measured in c4.measurements:
        column = processing.export.tables.column_name(measured.name, measured.unit)
        numbers = [rows.loc["C4", column + end] for end in ("", "_u", "_U95")]
        expected = [np.nan if one is None else one for one in (measured.value, measured.u, measured.expanded)]
        assert [float(one) for one in numbers] == pytest.approx(expected, rel=1e-12, nan_ok=True)
    assert rows.loc["C4", "down_weight_N"] == pytest.approx(SyntheticKey().down, abs=0.001)
    assert rows.loc["C4", "down_weight_flags"] == "uncalibrated"
    assert np.isnan(float(rows.loc["D4", "down_weight_N"]))
    assert "the plunger moved" in str(rows.loc["D4", "down_weight_reason"])
    assert set(rows["calibration"]) == {"missing"}
    assert set(rows["instrument"]) == {"=1+1"}


@pytest.mark.parametrize("ending", READ)
def test_a_number_a_row_holds_as_many_numbers(ending: str, recording: Path, tmp_path: Path) -> None:
    wide = exported(recording, tmp_path / "wide.csv").set_index("key")
    tidy = exported(recording, tmp_path / f"tidy{ending}", "numbers").set_index(["key", "measurand"])

    assert len(tidy) == 3 * len(keyplumb.measure(recording).result.keys[0].measurements)
    assert tidy.loc[("C#4", "friction"), "U95"] == pytest.approx(wide.loc["C#4", "friction_N_U95"])
    assert tidy.loc[("C#4", "friction"), "unit"] == "N"


@pytest.mark.parametrize("ending", READ)
def test_curves_hold_force_over_way_with_standard_errors(ending: str, recording: Path, tmp_path: Path) -> None:
    table = exported(recording, tmp_path / f"t{ending}", "curves")
    c4 = table[table["key"] == "C4"]
    key, plateau = SyntheticKey(), c4[(c4["way_mm"] > 2.0) & (c4["way_mm"] < 6.0)]

    assert set(table["key"]) == {"C4", "C#4"}
    assert plateau["down_N"].to_numpy() == pytest.approx(key.down, abs=0.005)
    assert plateau["up_N"].to_numpy() == pytest.approx(key.up, abs=0.005)
    assert (plateau[["down_N_u", "up_N_u"]] > 0.0).all(axis=None)


def test_strokes_are_told_one_by_one_and_their_mean_is_the_curve(recording: Path, tmp_path: Path) -> None:
    strokes = exported(recording, tmp_path / "s.parquet", "strokes")
    curves = exported(recording, tmp_path / "c.parquet", "curves").set_index(["key", "way_mm"])
    means = strokes.groupby(["key", "way_mm"])["down_N"].mean()

    assert set(strokes["stroke"]) == {1, 2, 3}
    assert means.loc["C4"].to_numpy() == pytest.approx(curves.loc["C4", "down_N"].to_numpy(), abs=1e-9)


def test_samples_are_the_counts_as_they_came_and_their_scale(recording: Path, tmp_path: Path) -> None:
    samples = exported(recording, tmp_path / "s.parquet", "samples")
    raw = keyplumb.open(recording).raw.keys[0].trace
    c4 = samples[samples["key"] == "C4"]

    assert np.array_equal(c4["force_counts"], raw.force_counts)
    assert np.array_equal(c4["tick_us"], raw.tick_us)
    assert np.allclose(c4["force_N"], raw.force_counts * 1e-6)


def test_parquet_and_excel_carry_what_they_are_about(recording: Path, tmp_path: Path) -> None:
    exported(recording, tmp_path / "t.parquet")
    exported(recording, tmp_path / "t.xlsx")

    told = json.loads(pyarrow.parquet.read_metadata(tmp_path / "t.parquet").metadata[b"keyplumb"])
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx")["about"]
    assert told["recorded at"] == "2026-03-01T12:00:00+00:00"
    assert told["calibration"].startswith("Uncalibrated")
    assert told.items() >= dict(sheet.iter_rows(values_only=True)).items()  # type: ignore[arg-type]


def test_a_name_that_begins_like_a_formula_is_none_in_excel(recording: Path, tmp_path: Path) -> None:
    exported(recording, tmp_path / "t.xlsx")

    cell = openpyxl.load_workbook(tmp_path / "t.xlsx")["keys"]["A2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


@pytest.mark.parametrize("table", ["keys", "numbers", "curves", "strokes", "samples"])
def test_missing_is_null_in_parquet_and_never_a_word(table: str, recording: Path, tmp_path: Path) -> None:
    exported(recording, tmp_path / "t.parquet", table)

    for field in pyarrow.parquet.read_schema(tmp_path / "t.parquet"):
        if field.name.endswith(("_N", "_mm", "_u", "_U95", "_dof")) or field.name == "value":
            assert field.type == pyarrow.float64(), field.name


def test_keys_wanted_are_all_that_is_written(recording: Path, tmp_path: Path) -> None:
    assert run("export", recording, "--to", tmp_path / "t.csv", "--keys", "C#4") == DONE

    assert list(pd.read_csv(tmp_path / "t.csv")["key"]) == ["C#4"]


def test_a_file_is_written_over_only_if_asked(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = tmp_path / "t.csv"
    there.write_text("mine", encoding="utf-8")

    assert run("export", recording, "--to", there) == BAD_INPUT
    assert "exists already and is left alone" in capsys.readouterr().err
    assert there.read_text(encoding="utf-8") == "mine"
    assert run("export", recording, "--to", there, "--replace") == DONE
    assert len(pd.read_csv(there)) == 3


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--to", "t.txt"), BAD_INPUT, "t.txt: the ending of the name is the format; known are .csv .parquet .xlsx"),
        (("--to", "r.h5", "--replace"), BAD_INPUT, "the ending of the name is the format"),
        (("--to", "nowhere/t.csv"), BAD_INPUT, "nowhere: no such folder"),
        (("--to", "t.csv", "--keys", "A0"), BAD_INPUT, "holds none of the keys asked for"),
        (("--to", "t.csv", "--table", "samples", "--front-edge"), WRONG_USE, "leave --front-edge"),
    ],
    ids=lambda one: one if isinstance(one, str) else None,
)
def test_trouble_is_one_sentence_and_nothing_is_written(
    words: tuple[str, ...],
    code: int,
    told: str,
    recording: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)

    assert run("export", recording, *words) == code
    assert told in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("ending", "library"), [(".parquet", "pyarrow"), (".xlsx", "openpyxl")])
def test_a_library_that_is_not_there_is_named_with_the_command_that_brings_it(
    ending: str,
    library: str,
    recording: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = importlib.util.find_spec
    monkeypatch.setattr(processing.export.files, "find_spec", lambda name: None if name == library else found(name))

    assert run("export", recording, "--to", tmp_path / f"t{ending}") == BAD_INPUT
    assert f"`pip install {library}` brings it, or write a .csv" in capsys.readouterr().err


def test_more_rows_than_a_sheet_holds_are_refused_and_nothing_is_left(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(processing.export.files, "MOST_EXCEL_ROWS", 100)

    assert run("export", recording, "--to", tmp_path / "t.xlsx", "--table", "samples") == BAD_INPUT
    assert "holds 100 rows, this table has more" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ending", READ)
def test_an_error_in_the_middle_leaves_the_old_file_and_nothing_else(ending: str, tmp_path: Path) -> None:
    there = tmp_path / f"t{ending}"
    there.write_bytes(b"mine")

    def pieces():  # type: ignore[no-untyped-def]
        yield pd.DataFrame({"way_mm": [1.0]})
        raise OSError("the disk is gone")

    with pytest.raises(OSError, match="the disk is gone"):
        processing.export.files.write_table(pieces(), there, name="t", about={})
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [(there.name, b"mine")]


def test_forces_of_a_calibrated_recording_are_told_so(tmp_path: Path) -> None:
    header = a_header()
    scale = replace(header.calibration.force, calibrated_on="2026-01-01", reference="certificate 7")
    write_recording(
        tmp_path / "r.h5",
        replace(header, calibration=replace(header.calibration, force=scale)),
        [a_recording()],
    )

    assert list(exported(tmp_path / "r.h5", tmp_path / "t.csv")["calibration"]) == ["calibrated"]
