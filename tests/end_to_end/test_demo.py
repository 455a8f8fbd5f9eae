"""The whole job as a user runs it: commands in programs of their own, a real pseudo-terminal between them."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from recordings.reader import read_recording

KEYPLUMB = (sys.executable, "-m", "keyplumb")


def test_the_demo_names_the_faulty_keys_of_half_a_keyboard_and_nobody_else(tmp_path: Path) -> None:
    """C2 barely lifts, D3 sticks; numbers are held against the rig's truths: weights 0.5 gf, places 0.03 mm."""
    said = subprocess.run(
        [*KEYPLUMB, "demo", "--out", str(tmp_path), "--keys", "G1..G3"], capture_output=True, text=True, check=False
    )

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


def test_a_survey_killed_in_mid_stroke_is_repaired_with_every_finished_stroke(tmp_path: Path) -> None:
    rig = subprocess.Popen(
        [*KEYPLUMB, "virtual-rig", "--speed", "40"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert rig.stdout is not None
    with rig:
        port = rig.stdout.readline().strip()
        survey = subprocess.Popen(
            [*KEYPLUMB, "survey", "--port", port, "--out", str(tmp_path / "r.h5"), "--keys", "C4..C5"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        folder = tmp_path / "r.h5.partial"
        ends = time.monotonic() + 60
        while len(list(folder.glob("part-*"))) < 5 and time.monotonic() < ends:
            time.sleep(0.05)
        os.kill(survey.pid, signal.SIGKILL)
        survey.wait()
        rig.terminate()
    finished = len(list(folder.glob("part-*")))
    assert finished >= 5

    said = subprocess.run([*KEYPLUMB, "repair", str(folder)], capture_output=True, text=True, check=True)
    recording = read_recording(tmp_path / "r.h5")
    assert f"{finished} finished stretches" in said.stdout
    assert not recording.complete
    assert sum(len(key.marks) for key in recording.keys) == finished
    measured = subprocess.run(
        [*KEYPLUMB, "measure", str(tmp_path / "r.h5"), "--json"], capture_output=True, text=True, check=True
    )
    assert "interrupted" in measured.stderr
    assert json.loads(measured.stdout)["keys"][0]["strokes"] == 3
