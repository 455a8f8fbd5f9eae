"""A survey with check keys: three recordings by one command, from which a drift is told."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from keyplumb.__main__ import main
from recordings.partial import partial_folder
from recordings.reader import read_recording
from tests.daq.rigs import a_rig

KEYPLUMB = (sys.executable, "-m", "keyplumb")


def words_of(port: str, out: Path, *more: str) -> list[str]:
    return [
        *KEYPLUMB,
        "survey",
        "--port",
        port,
        "--keys",
        "C4..D#4",
        "--check-keys",
        "C4,D4,D#4",
        "--out",
        str(out),
        *more,
    ]


def test_check_keys_are_recorded_before_and_after_and_tell_a_drift(tmp_path: Path) -> None:
    with a_rig(speed=40.0) as port:
        said = subprocess.run(words_of(port, tmp_path / "fern.h5"), capture_output=True, text=True, check=True)
    before, whole, after = (tmp_path / f"fern{when}.h5" for when in ("-before", "", "-after"))
    told = [read_recording(path) for path in (before, whole, after)]

    assert [[key.key.name for key in one.keys] for one in told] == [
        ["C4", "D4", "D#4"],
        ["C4", "C#4", "D4", "D#4"],
        ["C4", "D4", "D#4"],
    ]
    assert {one.header.run.instrument for one in told} == {"fern"}
    assert told[0].header.run.started_at < told[1].header.run.started_at < told[2].header.run.started_at
    command = said.stdout.splitlines()[-1].partition("keyplumb ")[2].split()
    measured = subprocess.run([*KEYPLUMB, *command], capture_output=True, text=True, check=True)
    assert "by check keys C4, D4, D#4, measured 9 times in 3 recordings" in measured.stderr


def test_an_interrupted_one_says_what_was_not_begun_and_how_to_go_on(tmp_path: Path) -> None:
    with a_rig(speed=40.0) as port:
        words = words_of(port, tmp_path / "fern.h5", "--serial", "fern-7")
        survey = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        ends = time.monotonic() + 60
        while not list(partial_folder(tmp_path / "fern.h5").glob("part-*")) and time.monotonic() < ends:
            time.sleep(0.05)
        survey.send_signal(signal.SIGINT)
        _, said = survey.communicate()

    assert survey.returncode == 130
    squeezed = "".join(said.split())  # a path may be cut anywhere to fit the screen
    assert f"notbegun:{tmp_path / 'fern-after.h5'}." in squeezed
    assert "`keyplumbsurvey--instrumentfern--serialfern-7`withan--outofitsowneach" in squeezed
    assert "thecheckkeyswith--keysC4,D4,D#4" in squeezed
    assert (tmp_path / "fern-before.h5").exists()


@pytest.mark.parametrize(
    ("check_keys", "because"),
    [("C4,D4", "3 keys at least"), ("C4,A5,B5", "A5, B5 is not among the keys of the survey")],
)
def test_check_keys_that_could_tell_nothing_are_refused(
    check_keys: str, because: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["survey", "--port", "x", "--out", "n.h5", "--keys", "C4..D4", "--check-keys", check_keys])

    assert stopped.value.code == 2
    assert because in capsys.readouterr().err


def test_none_of_the_three_files_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "fern-after.h5").touch()

    assert main(["survey", "--port", "x", "--out", str(tmp_path / "fern.h5"), "--check-keys", "C4,D4,D#4"]) == 3
    assert "fern-after.h5" in capsys.readouterr().err
