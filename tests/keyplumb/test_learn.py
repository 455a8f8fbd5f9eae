"""`keyplumb inspect --learn`: limits from good units."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from keyplumb.exit_codes import BAD_INPUT, DONE, FAILED, WRONG_USE
from processing.calibrate import recalibrated
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import WHOLE_RECORD, Press, SyntheticKey, a_header, a_recording
from tests.keyplumb.test_commands import run

NATURALS = (40, 42, 44, 45, 47, 49)
"""C4 to A4: six, since five of a colour are the fewest."""


def a_unit(folder: Path, place: int, *, down: float = 0.50, serial: str | None = "moss-{:03d}") -> Path:
    """Return a recording of a few naturals, that scatter from key to key and from unit to unit."""
    header = a_header("moss")
    started = header.run.started_at + timedelta(hours=place)
    named = None if serial is None else serial.format(place)
    header = replace(header, run=replace(header.run, serial=named, started_at=started))
    forces = [down + 0.004 * ((place * 7 + key * 5) % 11 - 5) / 5 for key in range(len(NATURALS))]
    recordings = [
        a_recording(SyntheticKey(down=force), Press(strokes=2, seed=place), name=Key(number))
        for number, force in zip(NATURALS, forces, strict=True)
    ]
    path = folder / f"u{place}.h5"
    write_recording(path, recalibrated(header, WHOLE_RECORD), recordings)
    return path


@pytest.fixture(scope="module")
def good_units(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("good")
    return [a_unit(folder, place) for place in range(1, 5)]


def test_limits_learned_from_good_units_judge_the_next_one(
    good_units: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    limits = tmp_path / "moss.toml"

    assert run("inspect", "--learn", *good_units, "--out", limits) == DONE
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("4 units: with 95 % confidence each limit holds 99.9 % of the keys of all such units")
    assert said[-1] == str(limits)

    assert run("inspect", a_unit(tmp_path, 9), "--limits", limits) == DONE
    assert run("inspect", a_unit(tmp_path, 8, down=0.62), "--limits", limits) == FAILED


def test_one_unit_is_told_to_be_too_few(
    good_units: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("inspect", "--learn", good_units[0], "--out", tmp_path / "moss.toml") == DONE

    assert capsys.readouterr().out.startswith("one unit tells nothing about how units differ")
    assert "learned from one unit" in (tmp_path / "moss.toml").read_text()


def test_the_same_recording_twice_is_refused(
    good_units: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("inspect", "--learn", good_units[0], good_units[0], "--out", tmp_path / "moss.toml") == BAD_INPUT

    assert "the same recording" in capsys.readouterr().err
    assert not (tmp_path / "moss.toml").exists()


def test_units_without_serial_numbers_are_called_after_their_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    units = [a_unit(tmp_path, place, serial=None) for place in (1, 2)]

    assert run("inspect", "--learn", *units, "--out", tmp_path / "moss.toml") == DONE
    assert "u1, u2: without a serial number" in capsys.readouterr().out


def test_a_file_that_is_there_is_not_written_over_and_nothing_is_measured(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "moss.toml").write_text("mine")

    assert run("inspect", "--learn", tmp_path / "missing.h5", "--out", tmp_path / "moss.toml") == BAD_INPUT
    assert "moss.toml" in capsys.readouterr().err
    assert (tmp_path / "moss.toml").read_text() == "mine"


@pytest.mark.parametrize(
    "words",
    [
        ["--learn", "a.h5"],
        ["--learn", "a.h5", "--out", "l.toml", "--json"],
        ["b.h5", "--out", "l.toml", "--learn", "a.h5"],
        ["--port", "/dev/null", "--out", "l.toml", "--learn", "a.h5"],
        ["u.h5", "--limits", "l.toml", "--out", "x.toml"],
    ],
    ids=["no place", "json", "a unit to judge", "a rig", "a place without --learn"],
)
def test_learning_is_not_mixed_with_judging(words: list[str]) -> None:
    assert run("inspect", *words) == WRONG_USE
