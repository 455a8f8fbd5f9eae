"""What a `kill -9` and a full disk leave behind: every finished stroke, and a way to go on."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from recordings.partial import partial_folder
from recordings.reader import read_recording
from tests.daq.rigs import a_rig
from tests.hard_stops import hard_stop

KEYPLUMB = (sys.executable, "-m", "keyplumb")


@pytest.mark.parametrize("seed", range(12))
def test_a_survey_killed_at_any_instant_keeps_every_finished_stroke(seed: int, tmp_path: Path) -> None:
    left = hard_stop(tmp_path, seed)

    assert left.torn_parts == 0
    assert left.marks >= left.finished_parts  # one more if it was killed between a mark and its part
    assert left.lost_s is None or left.lost_s < 1.0


@contextmanager
def a_small_disk(folder: Path, kilobytes: int) -> Iterator[Path]:
    """Mount a file system in memory that takes so much and no more; needs root, as the continuous integration is."""
    disk = folder / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("a small disk can only be mounted by root")
    try:
        yield disk
    finally:
        subprocess.run(["umount", "--lazy", str(disk)], check=True)


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*KEYPLUMB, *words], capture_output=True, text=True, check=False)


def test_a_disk_without_room_for_a_recording_is_told_before_it_is_begun(tmp_path: Path) -> None:
    with a_small_disk(tmp_path, 100) as disk, a_rig() as port:
        said = run("survey", "--port", port, "--keys", "C4", "--out", str(disk / "r.h5"))
        left = list(disk.iterdir())

    assert said.returncode == 3
    assert "No space left on device: it needs 0.3 MB more" in said.stderr
    assert left == []


@pytest.mark.parametrize("kilobytes", [400, 1000, 1900, 2200, 2600])
def test_a_full_disk_is_told_and_the_survey_goes_on_when_there_is_room(kilobytes: int, tmp_path: Path) -> None:
    """Eight keys take 2.0 MB of strokes: the small disks are full among them, the larger while the file is written."""
    with a_small_disk(tmp_path, kilobytes) as disk, a_rig(speed=50.0) as port:
        path = disk / "r.h5"
        said = run("survey", "--port", port, "--keys", "C4..G4", "--out", str(path))
        assert said.returncode == 3, said.stderr
        assert "No space left on device" in said.stderr
        assert "make room there" in said.stderr
        assert not path.exists()
        finished = len(list(partial_folder(path).glob("part-*")))

        subprocess.run(["mount", "-o", "remount,size=30m", str(disk)], check=True)
        said = run("resume", str(path), "--port", port)
        assert said.returncode == 0, said.stderr
        recording = read_recording(path)

    assert recording.complete
    assert len(recording.keys) == 8
    assert all(len(key.marks) == 6 for key in recording.keys)
    strokes = [mark for key in recording.keys for mark in (*key.marks, *aside_marks(key))]
    assert len(strokes) >= finished


def aside_marks(key):  # type: ignore[no-untyped-def]
    return [mark for aside in key.set_aside for mark in aside.attempt.marks]
