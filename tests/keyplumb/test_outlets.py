"""A reader who goes away, as with `| head`, changes neither verdict nor files; and nothing ends with 0 by default."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from keyplumb.exit_codes import BAD_INPUT, CANNOT_TELL, FAILED
from processing.unit_store import UnitStore
from tests.keyplumb.test_inspect import a_unit, limits_file
from tests.processing.trend.lines import a_line, step


def unread(*words: object, unbuffered: bool, also_stderr: bool = False) -> int:
    """Run keyplumb with a stdout (and stderr) whose reader has gone already; return its exit code."""
    reading, writing = os.pipe()
    os.close(reading)
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    try:
        done = subprocess.run(
            [sys.executable, "-m", "keyplumb", *map(str, words)],
            stdout=writing,
            stderr=writing if also_stderr else subprocess.PIPE,
            env=environment | ({"PYTHONUNBUFFERED": "1"} if unbuffered else {}),
            check=False,
            timeout=120,
        )
    finally:
        os.close(writing)
    assert b"Traceback" not in (done.stderr or b"")
    assert b"BrokenPipe" not in (done.stderr or b"")
    return done.returncode


@pytest.mark.parametrize("unbuffered", [False, True])
def test_a_failing_unit_fails_and_its_files_are_there_though_nobody_reads(tmp_path: Path, unbuffered: bool) -> None:
    unit, limits = a_unit(tmp_path / "u.h5", down=0.6), limits_file(tmp_path)
    files = {f"--{kind}": tmp_path / f"u.{kind}" for kind in ("csv", "junit", "pdf")}
    words = [word for pair in files.items() for word in pair]
    store = tmp_path / "store"

    code = unread(
        "inspect", unit, "--limits", limits, *words, "--store", store, unbuffered=unbuffered, also_stderr=unbuffered
    )
    assert code == FAILED
    assert [path.exists() for path in files.values()] == [True] * 3
    assert UnitStore(store).units("moss", which="all")["outcome"].tolist() == ["fail"]


def test_of_many_units_all_are_kept_though_nobody_reads(tmp_path: Path) -> None:
    units = [a_unit(tmp_path / "a.h5"), a_unit(tmp_path / "b.h5", keys=1), a_unit(tmp_path / "c.h5", down=0.6)]
    words = ("--limits", limits_file(tmp_path), "--json", "--csv", tmp_path / "all.csv", "--store", tmp_path / "store")

    assert unread("inspect", *units[:2], *words, "--workers", 2, unbuffered=True) == CANNOT_TELL
    assert unread("inspect", *units, *words, "--workers", 1, unbuffered=False) == FAILED
    assert len((tmp_path / "all.csv").read_text().splitlines()) == 1 + 6 + 4 + 6  # a head; three a key that is there
    assert len(UnitStore(tmp_path / "store").units("moss", which="all")) == 3  # the same recording is one measuring


def test_a_chart_that_signals_fails_though_nobody_reads(tmp_path: Path) -> None:
    store = a_line(tmp_path / "units", 60, planted={"key_dip": step(40, 0.1)})

    assert unread("trend", store, "--measurand", "key_dip", unbuffered=True) == FAILED


def test_trouble_keeps_its_code_though_nobody_reads(tmp_path: Path) -> None:
    assert unread("info", tmp_path / "none.h5", unbuffered=False, also_stderr=True) == BAD_INPUT


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_what_cannot_be_printed_for_want_of_room_is_trouble(tmp_path: Path) -> None:
    unit, limits = a_unit(tmp_path / "u.h5"), limits_file(tmp_path)
    with Path("/dev/full").open("wb") as full:
        words = [sys.executable, "-m", "keyplumb", "inspect", unit, "--limits", limits, "--csv", tmp_path / "u.csv"]
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=60)

    assert done.returncode == BAD_INPUT
    assert "No space left on device" in done.stderr
    assert (tmp_path / "u.csv").exists()
