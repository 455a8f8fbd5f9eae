"""Many units at once: a table worst first, a line of JSON each, all into the store, and the worst as the exit code."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from keyplumb.commands.inspect_many import Gathered
from keyplumb.exit_codes import BAD_INPUT, CANNOT_TELL, DONE, FAILED, WRONG_USE
from processing.limits.view import SCHEMA
from processing.unit_store import UnitStore
from tests.keyplumb.test_commands import run
from tests.keyplumb.test_inspect import a_unit, limits_file


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("units")
    a_unit(folder / "good.h5")
    a_unit(folder / "light.h5", down=0.48)
    a_unit(folder / "heavy.h5", down=0.65)
    a_unit(folder / "lacking.h5", keys=1)
    limits_file(folder)
    return folder


def units(folder: Path, *names: str) -> list[Path]:
    return [folder / f"{name}.h5" for name in names]


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (("good", "light"), DONE),
        (("good", "lacking"), CANNOT_TELL),
        (("lacking", "heavy", "good"), FAILED),
        (("heavy", "missing"), BAD_INPUT),
    ],
)
def test_the_worst_is_the_exit_code(names: tuple[str, ...], code: int, folder: Path) -> None:
    assert run("inspect", *units(folder, *names), "--limits", folder / "limits.toml", "--workers", 1) == code


def test_people_read_a_table_worst_first_and_counts(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("inspect", *units(folder, "good", "lacking", "heavy"), "--limits", folder / "limits.toml", "--workers", 2)
    lines = capsys.readouterr().out.splitlines()

    rows = [line for line in lines if line.startswith("moss-001")]
    assert ["fail" in row for row in rows] == [True, False]
    assert "Down weight 66.3 gf is above 55.0 gf" in rows[0]
    assert lines[-1] == "3 units: 1 pass, 1 fail, 1 cannot be told"


def test_as_json_each_file_has_its_line_in_the_order_given_whoever_does_the_work(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = units(folder, "heavy", "missing", "good")
    said = []
    for workers in (1, 2):
        assert run("inspect", *files, "--limits", folder / "limits.toml", "--json", "--workers", workers) == BAD_INPUT
        out, err = capsys.readouterr()
        said.append(out)

    assert said[0] == said[1]
    lines = [json.loads(line) for line in said[0].splitlines()]
    assert [line["file"] for line in lines] == [str(path) for path in files]
    assert [line["schema"] for line in lines] == [SCHEMA, "keyplumb.failure/1", SCHEMA]
    assert [line.get("outcome") for line in lines] == ["fail", None, "pass"]
    assert "1 of 3 files failed" in err


def test_all_decisions_go_into_one_table(folder: Path, tmp_path: Path) -> None:
    table = tmp_path / "all.csv"
    files = units(folder, "good", "heavy")
    run("inspect", *files, "--limits", folder / "limits.toml", "--csv", table, "--workers", 1)
    with table.open(newline="") as file:
        rows = list(csv.DictReader(file))

    assert len([row for row in rows if row["code"] == "down_weight"]) == 4
    assert {row["outcome"] for row in rows if row["code"] == "down_weight"} == {"pass", "fail"}


def test_units_are_added_to_the_store_one_or_many(folder: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    run("inspect", *units(folder, "good", "heavy"), "--limits", folder / "limits.toml", "--store", store)
    run("inspect", *units(folder, "lacking"), "--limits", folder / "limits.toml", "--store", store)

    kept = UnitStore(store)
    assert sorted(kept.units("moss", which="all")["outcome"]) == ["cannot tell", "fail", "pass"]
    assert kept.reasons("moss", which="all")["reason"].tolist().count("down_weight") == 2
    values = kept.values("down_weight", "moss", which="all")
    assert values["value"].max() == pytest.approx(0.65, abs=0.001)


def test_a_page_for_one_unit_is_not_asked_of_many(folder: Path, tmp_path: Path) -> None:
    files = units(folder, "good", "heavy")

    assert run("inspect", *files, "--limits", folder / "limits.toml", "--pdf", tmp_path / "p.pdf") == WRONG_USE


def test_units_that_all_pass_need_no_table(capsys: pytest.CaptureFixture[str]) -> None:
    gathered = Gathered()
    gathered.counts["pass"] = 2
    gathered.tell()

    assert capsys.readouterr().out == "2 units: 2 pass\n"
    assert gathered.exit_code == DONE
