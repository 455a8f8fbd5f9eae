"""Surveys killed at a random instant (`kill -9`), and what is left of them. Few in the tests, 200 by `make hard-stops`.

How it works: the virtual rig lives here, in a thread; the survey is a program of its own, as a user starts it. It is
killed at a seeded random instant; what the rig had sent by then is known here and is held against what is on the disk.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from recordings.journal import read_journal
from recordings.partial import assemble, partial_folder
from recordings.reader import read_recording
from rig.virtual.serve import open_wire, serve
from tests.daq.rigs import KEYS, a_virtual_rig

SPEED = 40.0
RATE_HZ = 1000.0
SURVEY = (sys.executable, "-m", "keyplumb", "survey", "--keys", "C4..C6", "--programme", "slow")


@dataclass(frozen=True, slots=True)
class HardStop:
    """One killed survey."""

    began: bool
    """There was a recording under way."""
    finished_parts: int
    torn_parts: int
    """Parts that cannot be read to their end: there must be none."""
    marks: int
    """Finished stretches that the assembled recording names."""
    lost_s: float | None
    """What the rig had sent and the disk does not hold, in seconds of the host; None: no key was in hand."""


def hard_stop(folder: Path, seed: int) -> HardStop:
    """Survey, kill at a random instant, and look at what is left."""
    path = folder / "r.h5"
    after_s = float(np.random.default_rng(seed).uniform(1.2, 3.5))
    rig, stop = a_virtual_rig(KEYS, speed=SPEED), threading.Event()
    with open_wire(None) as wire:
        served = threading.Thread(target=serve, args=(wire, rig), kwargs={"speed": SPEED, "until": stop.is_set})
        served.start()
        words = [*SURVEY, "--port", wire.path, "--out", str(path)]
        survey = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(after_s)
        sent = rig.samples_numbered
        survey.kill()
        survey.wait()
        stop.set()
        served.join()
    return what_is_left(path, sent) if partial_folder(path).is_dir() else HardStop(False, 0, 0, 0, None)


def what_is_left(path: Path, sent: int) -> HardStop:
    """Read the folder of a killed survey, then make a recording of it."""
    folder = partial_folder(path)
    if not (folder / "header.h5").is_file():
        return HardStop(False, 0, 0, 0, None)
    parts = sorted(folder.glob("part-*"))
    torn = sum(not reads_to_its_end(part) for part in parts)
    assemble(folder, path)
    recording = read_recording(path)
    marks = sum(len(key.marks) for key in recording.keys)
    in_hand = [key for key in recording.keys if len(key.trace) and "return" not in {mark.name for mark in key.marks}]
    newest = max((int(key.trace.sample_number[-1]) for key in in_hand), default=None)
    lost_s = None if newest is None else max(0, sent - newest - 1) / RATE_HZ / SPEED
    return HardStop(True, len(parts), torn, marks, lost_s)


def reads_to_its_end(part: Path) -> bool:
    """Tell whether every byte of a part belongs to a whole record."""
    head_bytes = 9
    return sum(head_bytes + len(payload) for _, payload in read_journal(part)) == part.stat().st_size
