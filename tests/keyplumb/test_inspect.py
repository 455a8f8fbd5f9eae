"""`keyplumb inspect`: the verdict is the exit code; what it writes, and what it refuses before it measures."""

from __future__ import annotations

import csv
import json
import os
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from keyplumb.exit_codes import BAD_INPUT, CANNOT_TELL, DONE, FAILED, WRONG_USE
from processing.calibrate import recalibrated
from processing.limits.reading import read_limits
from processing.unit_store import UnitStore
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import WHOLE_RECORD, Press, SyntheticKey, a_header, a_recording
from tests.keyplumb.test_commands import run

LIMITS = """
name = "moss"
[expected]
keys = "C4, C#4"
[[limit]]
measurand = "down_weight"
unit = "gf"
lower = 45.0
upper = 55.0
[[limit]]
measurand = "key_dip"
unit = "mm"
lower = 9.5
upper = 11.0
[letoff]
"""
"""What a synthetic key keeps: down weight 0.50 N = 51.0 gf, key dip 9.92 mm."""


def a_unit(path: Path, *, down: float = 0.50, keys: int = 2, calibrated: bool = True, complete: bool = True) -> Path:
    header = a_header("moss")
    header = replace(header, run=replace(header.run, serial="moss-001"))
    recordings = [a_recording(SyntheticKey(down=down), Press(seed=n), name=Key(40 + n)) for n in range(keys)]
    header = recalibrated(header, WHOLE_RECORD) if calibrated else header
    write_recording(path, header, recordings, complete=complete)
    return path


def limits_file(folder: Path, text: str = LIMITS) -> Path:
    path = folder / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_unit_passes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("inspect", a_unit(tmp_path / "u.h5"), "--limits", limits_file(tmp_path)) == DONE

    said = capsys.readouterr().out
    assert said.startswith("moss-001: PASS; of 2 keys 2 pass. Probability of being wrong: under 0.01 %.\n")
    assert len(said.splitlines()) == 2


def test_a_bad_unit_fails_and_says_why_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit = a_unit(tmp_path / "u.h5", down=0.60)

    assert run("inspect", unit, "--limits", limits_file(tmp_path), "--units", "N,mm") == FAILED
    first, *keys = capsys.readouterr().out.splitlines()
    assert first.startswith("moss-001: FAIL: C")
    assert "Down weight 0.600 N is above 0.539 N; of 2 keys 2 fail. " in first
    assert len(keys) == 2


@pytest.mark.parametrize(
    ("unit", "why"),
    [
        ({"calibrated": False}, "Uncalibrated"),
        ({"complete": False}, "the recording is not complete"),
        ({"keys": 1}, "C#4: the key is not in the recording"),
    ],
    ids=["uncalibrated", "incomplete", "a key is missing"],
)
def test_what_is_not_in_order_cannot_be_told(
    unit: dict[str, bool], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = a_unit(tmp_path / "u.h5", **unit)  # type: ignore[arg-type]

    assert run("inspect", path, "--limits", limits_file(tmp_path)) == CANNOT_TELL
    assert f"moss-001: CANNOT TELL: {why}" in capsys.readouterr().out


def test_a_unit_is_measured_as_its_limits_expect(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    at_two = LIMITS.replace('keys = "C4, C#4"', 'keys = "C4, C#4"\nbed_force_newton = 2.0')
    unit = a_unit(tmp_path / "u.h5")
    run("inspect", unit, "--limits", limits_file(tmp_path, at_two), "--json")
    told = json.loads(capsys.readouterr().out)

    dip = next(one for one in told["keys"][0]["decisions"] if one["code"] == "key_dip")
    assert dip["value"] == pytest.approx(9.5 + (2.0 - 0.5) / 6.0, abs=0.01)  # the straight bed at 2 N
    assert told["outcome"] == "pass"


def test_everything_is_written_that_was_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit, limits = a_unit(tmp_path / "u.h5"), limits_file(tmp_path)
    files = [tmp_path / name for name in ("u.csv", "u.xml", "u.pdf")]

    assert run("inspect", unit, "--limits", limits, "--csv", files[0], "--junit", files[1], "--pdf", files[2]) == DONE

    rows = list(csv.DictReader(files[0].read_text(encoding="utf-8").splitlines()))
    assert [row["key"] for row in rows] == ["C4"] * 3 + ["C#4"] * 3
    assert {row["code"] for row in rows} == {"down_weight", "key_dip", "letoff"}
    assert {row["outcome"] for row in rows} == {"pass"}
    assert ElementTree.parse(files[1]).getroot().get("failures") == "0"
    assert files[2].read_bytes().startswith(b"%PDF")
    assert capsys.readouterr().err.splitlines() == [str(path) for path in files]


@pytest.mark.parametrize("name", ["鍵盤 $b$ and $\\frac$", "two\nlines\tand e\u0301\u202e"], ids=ascii)
def test_a_page_is_made_whatever_things_are_called(name: str, tmp_path: Path) -> None:
    """A letter that the font lacks, a dollar, a new line: verdict, page and store are there all the same."""
    limits = limits_file(tmp_path, LIMITS.replace('name = "moss"', f"name = {json.dumps(name)}"))
    header = replace(a_header("moss").run, serial=name, operator=name)
    recordings = [a_recording(SyntheticKey(), Press(seed=n), name=Key(40 + n)) for n in range(2)]
    unit, page, store = tmp_path / "u.h5", tmp_path / "u.pdf", tmp_path / "store"
    write_recording(unit, recalibrated(replace(a_header("moss"), run=header), WHOLE_RECORD), recordings)

    assert run("inspect", unit, "--limits", limits, "--pdf", page, "--store", store) == DONE
    assert page.read_bytes().startswith(b"%PDF")
    assert UnitStore(store).units("moss", which="all")["outcome"].tolist() == ["pass"]


def test_the_store_and_the_other_files_are_served_though_one_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def no_page(*_: object) -> None:
        raise OSError(28, "No space left on device", "u.pdf")

    monkeypatch.setattr("processing.limits.page.write_page", no_page)
    words = ("--limits", limits_file(tmp_path), "--csv", tmp_path / "u.csv", "--store", tmp_path / "store")

    assert run("inspect", a_unit(tmp_path / "u.h5"), *words, "--pdf", tmp_path / "u.pdf") == BAD_INPUT
    assert (tmp_path / "u.csv").exists()
    assert len(UnitStore(tmp_path / "store").units("moss", which="all")) == 1
    assert "moss-001: PASS" in capsys.readouterr().out


def test_an_example_of_limits_is_written_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "new.toml"

    assert run("inspect", "--new-limits", path) == DONE
    assert len(read_limits(path).expected.keys) == 88
    assert run("inspect", "--new-limits", path) == BAD_INPUT
    assert "left alone; choose another name" in capsys.readouterr().err


def test_by_wrong_limits_nothing_is_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = limits_file(tmp_path, LIMITS.replace("upper = 55.0", "upper = 35.0"))

    assert run("inspect", a_unit(tmp_path / "u.h5"), "--limits", wrong, "--csv", tmp_path / "u.csv") == BAD_INPUT
    said = capsys.readouterr()
    assert said.out == ""
    assert "limits.toml, line 8: limit 1, lower: lower 45 is not below upper 35 at C4; exchange them" in said.err
    assert not (tmp_path / "u.csv").exists()


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("u.h5",),
        ("--limits", "l.toml"),
        ("u.h5", "--new-limits", "n.toml"),
        ("--new-limits", "n.toml", "--learn", "u.h5"),
        ("--new-limits", "n.toml", "--serial", "moss-001"),
    ],
    ids=str,
)
def test_a_unit_and_its_limits_are_needed_and_an_example_stands_alone(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("inspect", *words) == WRONG_USE
    assert "keyplumb inspect" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--csv", "--junit", "--pdf"])
def test_what_is_read_is_never_written_over(option: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit, limits = a_unit(tmp_path / "u.h5", keys=1), limits_file(tmp_path)
    before = unit.read_bytes()

    assert run("inspect", unit, "--limits", limits, option, unit) == WRONG_USE
    assert run("inspect", unit, "--limits", limits, option, tmp_path / "nowhere" / "x") == BAD_INPUT
    assert unit.read_bytes() == before
    assert "is not written over" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--csv", "--junit", "--pdf"])
def test_only_what_inspect_wrote_is_replaced(option: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit, limits = a_unit(tmp_path / "u.h5"), limits_file(tmp_path)
    others = {
        "keep.h5": a_unit(tmp_path / "keep.h5", keys=1).read_bytes(),
        "keep.toml": b'name = "moss"\n',
        "keep.csv": b"time_s,displacement_mm,force_N\n",
        "keep.xml": b"<?xml version='1.0'?><testsuites/>",
        "keep.pdf": b"%PDF-1.4 a certificate",
    }
    for name, content in others.items():
        (tmp_path / name).write_bytes(content)
        assert run("inspect", unit, "--limits", limits, option, tmp_path / name) == BAD_INPUT
        assert f"left alone; it is nothing that `inspect {option}` wrote" in capsys.readouterr().err
    assert {name: (tmp_path / name).read_bytes() for name in others} == others

    mine = tmp_path / "mine"
    mine.touch()  # as a program does that makes a name for itself
    assert [run("inspect", unit, "--limits", limits, option, mine) for _ in range(2)] == [DONE, DONE]


@pytest.mark.parametrize(
    ("words", "code", "why"),
    [
        (("--csv", "same", "--junit", "same"), WRONG_USE, "same is to hold two things"),
        (("--junit", "-"), WRONG_USE, "--junit writes a file: give its name"),
        (("--csv", "."), BAD_INPUT, "it is a folder"),
        (("--csv", "pipe"), BAD_INPUT, "it is no plain file"),
        (("--store", "limits.toml"), WRONG_USE, "--store limits.toml: it is a file; a store is a folder"),
        (("./u.h5",), WRONG_USE, "u.h5 is given twice"),
        (("--serial", "other-9"), WRONG_USE, "--serial: a recording keeps what it was told"),
        (("--operator", "Ada", "--celsius", "0"), WRONG_USE, "--operator, --celsius: a recording keeps"),
    ],
    ids=str,
)
def test_what_cannot_be_meant_is_refused_before_anything_is_written(
    words: tuple[str, ...],
    code: int,
    why: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    a_unit(tmp_path / "u.h5", keys=1)
    limits_file(tmp_path)
    os.mkfifo(tmp_path / "pipe")  # stands for /dev/null, which root would replace if this were not refused
    before = sorted(tmp_path.iterdir())

    assert run("inspect", "u.h5", *words, "--limits", "limits.toml") == code
    said = capsys.readouterr()
    assert (why in " ".join(said.err.split()), said.out) == (True, "")
    assert sorted(tmp_path.iterdir()) == before


def test_limits_for_the_front_edge_are_blamed_where_nobody_knows_the_lever(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    units = [a_unit(tmp_path / name, calibrated=False) for name in ("u.h5", "v.h5")]
    limits = limits_file(tmp_path, LIMITS.replace("[expected]", '[expected]\nstated_at = "front edge"'))
    words = 'limits.toml: expected, stated_at: "front edge" is asked for'

    assert run("inspect", units[0], "--limits", limits) == BAD_INPUT
    said = capsys.readouterr().err
    assert words in said
    assert "--front-edge" not in said
    assert run("inspect", *units, "--limits", limits, "--workers", 1) == BAD_INPUT
    assert words in " ".join(capsys.readouterr().err.split())


def test_the_verdict_on_a_unit_without_a_name_is_given_with_a_caution(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = [tmp_path / "u.h5", tmp_path / "v.h5"]
    for path in paths:
        recordings = [a_recording(SyntheticKey(), Press(seed=n), name=Key(40 + n)) for n in range(2)]
        write_recording(path, recalibrated(a_header("moss"), WHOLE_RECORD), recordings)
    limits = limits_file(tmp_path)

    assert run("inspect", paths[0], "--limits", limits) == DONE
    assert "u.h5: no serial number" in capsys.readouterr().err
    assert run("inspect", *paths, "--limits", limits, "--workers", 1) == DONE
    assert "2 of 2 recordings tell no serial number" in capsys.readouterr().err


def test_the_sample_recording_is_judged_from_its_table_to_the_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A table has no calibration: nothing passes, unless the limits file says that its scales are to be trusted."""
    unit = tmp_path / "c4.h5"
    run(
        "import",
        "recordings/samples/c4.csv",
        "--events",
        "recordings/samples/c4-events.csv",
        "--key",
        "C4",
        "--out",
        unit,
    )
    plain = LIMITS.replace("C4, C#4", "C4").replace("lower = 45.0\nupper = 55.0", "lower = 35.0\nupper = 75.0")
    trusting = plain.replace("[expected]", '[expected]\nallowed_flags = ["uncalibrated"]')

    assert run("inspect", unit, "--limits", limits_file(tmp_path, plain)) == CANNOT_TELL
    assert run("inspect", unit, "--limits", limits_file(tmp_path, trusting)) == DONE
    assert "gf uncalibrated is within" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("u.h5", "--out", "v.h5"), "say which rig with --port"),
        (("u.h5", "--stop-on-fail"), "say which rig with --port"),
        (("u.h5", "--port", "x", "--out", "v.h5"), "leave UNIT.h5"),
        (("--port", "x"), "say where with --out"),
        (("--port", "x", "--out", "v.h5", "--calibration", "c.json"), "leave --calibration"),
    ],
    ids=str,
)
def test_what_belongs_to_a_survey_is_told_apart(
    words: tuple[str, ...], why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("inspect", *words, "--limits", "l.toml") == WRONG_USE
    assert why in capsys.readouterr().err


def test_a_survey_is_not_begun_with_wrong_limits_or_over_a_recording(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong, right = limits_file(tmp_path, 'name = "x"\n'), tmp_path / "right.toml"
    right.write_text(LIMITS, encoding="utf-8")
    unit = a_unit(tmp_path / "u.h5", keys=1)

    assert run("inspect", "--port", "nowhere", "--limits", wrong, "--out", tmp_path / "v.h5") == BAD_INPUT
    assert "it limits nothing" in capsys.readouterr().err
    assert run("inspect", "--port", "nowhere", "--limits", right, "--out", unit) == BAD_INPUT
    assert "exists" in capsys.readouterr().err
