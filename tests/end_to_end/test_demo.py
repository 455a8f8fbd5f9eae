"""The whole job as a user runs it: commands in programs of their own, a real pseudo-terminal between them."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from recordings.partial import partial_folder
from recordings.reader import read_recording

KEYPLUMB = (sys.executable, "-m", "keyplumb")


def test_the_demo_names_the_faulty_keys_of_half_a_keyboard_and_nobody_else(tmp_path: Path) -> None:
    """C2 barely lifts, D3 sticks; numbers are held against the rig's truths: weights 0.5 gf, places 0.03 mm."""
    words = [*KEYPLUMB, "demo", "--scenario", "fern", "--out", str(tmp_path), "--keys", "G1..G3"]
    said = subprocess.run(words, capture_output=True, text=True, check=False)

    assert said.returncode == 0, said.stdout + said.stderr
    assert "2 of 2 faulty keys named" in said.stdout
    errors = {
        line.split()[0]: line.split()
        for line in said.stdout.splitlines()
        if (line.startswith("  ") and " mm " in line) or " gf " in line
    }
    for name, words in errors.items():
        if name in ("down_weight", "up_weight"):
            assert float(words[2]) < 0.5
        if name.endswith("_position") or name == "key_dip":
            assert float(words[2]) < 0.03
    assert {"down_weight", "up_weight", "key_dip", "letoff_peak_position", "trigger_position"} <= errors.keys()
    for name in ("fern.h5", "fern.html", "fern.pdf", "fern-truths.json"):
        assert (tmp_path / name).stat().st_size > 1000


def test_the_demo_surveys_both_prototypes_at_once_compares_them_and_invents_no_difference(tmp_path: Path) -> None:
    words = [*KEYPLUMB, "demo", "--out", str(tmp_path), "--keys", "C4..B4"]
    said = subprocess.run(words, capture_output=True, text=True, check=False)

    assert said.returncode == 0, said.stdout + said.stderr
    assert "moss against fern: " in said.stdout
    assert "gf uncalibrated more friction than one of fern" in said.stdout
    assert "differences called sure, 0 of them not there in truth" in said.stdout
    assert "planted differences are asked for only if all keys are surveyed" in said.stdout
    assert said.stdout.count("1 of 1 faulty keys named") == 2
    for name in ("fern", "moss"):
        recording = read_recording(tmp_path / f"{name}.h5")
        assert recording.header.run.instrument == name
        assert len(recording.keys) == 12
        assert recording.complete
    page = (tmp_path / "fern-moss.html").read_text(encoding="utf-8")
    assert "keyplumb report fern.h5 moss.h5 --units gf,mm" in page
    assert (tmp_path / "fern-moss.pdf").stat().st_size > 1000


def test_trouble_of_the_survey_beside_is_one_sentence_and_the_exit_code(tmp_path: Path) -> None:
    """The file that moss's rig should write its truths to cannot be made; so its rig ends before it gives a port."""
    (tmp_path / "moss-truths.json").mkdir()

    words = [*KEYPLUMB, "demo", "--out", str(tmp_path), "--keys", "C4"]
    said = subprocess.run(words, capture_output=True, text=True, check=False, timeout=120)

    assert said.returncode == 4, said.stdout + said.stderr
    assert "keyplumb: moss: " in said.stderr
    assert "Traceback" not in said.stderr
    assert not (tmp_path / "fern-moss.html").exists()


@contextmanager
def a_virtual_rig() -> Iterator[str]:
    """Run `keyplumb virtual-rig` and give its port."""
    words = [*KEYPLUMB, "virtual-rig", "--speed", "40"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as rig:
        assert rig.stdout is not None
        try:
            yield rig.stdout.readline().strip()
        finally:
            rig.terminate()


def survey_stopped_by(number: signal.Signals, path: Path, *, after_parts: int) -> tuple[int, str]:
    """Survey an octave, stop it by a signal after some finished stretches; return its exit code and what it said."""
    with a_virtual_rig() as port:
        words = [*KEYPLUMB, "survey", "--port", port, "--out", str(path), "--keys", "C4..C5"]
        survey = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        ends = time.monotonic() + 60
        while len(list(partial_folder(path).glob("part-*"))) < after_parts and time.monotonic() < ends:
            time.sleep(0.05)
        survey.send_signal(number)
        _, said = survey.communicate()
    return survey.returncode, said


def test_a_survey_killed_in_mid_stroke_is_repaired_with_every_finished_stroke(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    survey_stopped_by(signal.SIGKILL, path, after_parts=5)
    finished = len(list(partial_folder(path).glob("part-*")))
    assert finished >= 5

    said = subprocess.run([*KEYPLUMB, "repair", str(partial_folder(path))], capture_output=True, text=True, check=True)
    recording = read_recording(path)
    assert f"{finished} finished stretches" in said.stdout
    assert not recording.complete
    marks = sum(len(key.marks) for key in recording.keys)
    assert marks in (finished, finished + 1)  # one more if it was killed between a mark and its part
    measured = subprocess.run([*KEYPLUMB, "measure", str(path), "--json"], capture_output=True, text=True, check=True)
    assert "interrupted" in measured.stderr
    assert json.loads(measured.stdout)["keys"][0]["strokes"] == 3


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda number: number.name)
def test_a_survey_stopped_by_a_signal_says_so_and_keeps_what_was_finished(
    number: signal.Signals, tmp_path: Path
) -> None:
    code, said = survey_stopped_by(number, tmp_path / "r.h5", after_parts=2)

    assert code == 130
    assert said.rstrip().endswith("what was finished is safe, and `keyplumb resume` goes on with a survey")
    assert len(list(partial_folder(tmp_path / "r.h5").glob("part-*"))) >= 2
