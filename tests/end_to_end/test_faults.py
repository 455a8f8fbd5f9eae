"""Whole surveys over a cable that fails: every sample that the rig has sent is in the file or told as lost."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from daq.plan import plan_visits
from daq.programme import Programme, Strokes
from daq.recorder import Recorder
from daq.survey import SurveyPlan, Where, run_survey
from recordings.keys import parse_keys
from recordings.reader import read_recording
from recordings.types import KeyRecording, Recording
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.serve import serve
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from tests.daq.test_survey import RUN, silent_talk
from tests.spoiled_wire import ALL_FAULTS, SpoiledWire, random_faults, spoiled_by

KEYS = keyboard_of(load_scenario("fern"))[39:41]
SPEED = 100.0
QUICK = Programme(
    name="quick", summary="one stroke", steps=(Strokes(do="strokes", count=1, speed_mm_per_s=5.0, rest_s=0.1),)
)


@contextmanager
def a_spoiled_rig(tmp_path: Path, faults: dict[int, str], seed: int = 1) -> Iterator[tuple[VirtualRig, SpoiledWire]]:
    rig = VirtualRig(KEYS, RigSpec(watchdog_us=round(250_000 * SPEED)))
    wire = spoiled_by(rig, tmp_path / "rig", faults, np.random.default_rng(seed))
    stop = threading.Event()
    served = threading.Thread(target=serve, args=(wire, rig), kwargs={"speed": SPEED, "until": stop.is_set})
    served.start()
    try:
        yield rig, wire
    finally:
        stop.set()
        served.join()
        wire.close()


def recorded_over(tmp_path: Path, faults: dict[int, str], seed: int = 1) -> tuple[Recording, SpoiledWire, Recorder]:
    plan = SurveyPlan(visits=plan_visits(((parse_keys("C4,C#4"), QUICK),)), run=RUN)
    with a_spoiled_rig(tmp_path, faults, seed) as (_, wire):
        where = Where(port_path=wire.path, out=tmp_path / "r.h5", patience_s=20.0)
        result = run_survey(where, plan, silent_talk())
    assert [key.name for key in result.recorded] == ["C4", "C#4"]
    return read_recording(tmp_path / "r.h5"), wire, Recorder()


def attempts(recording: Recording) -> list[KeyRecording]:
    return [attempt for key in recording.keys for attempt in (*(aside.attempt for aside in key.set_aside), key)]


def gaps(numbers: np.ndarray[tuple[int], np.dtype[np.int64]]) -> int:
    return int((np.diff(numbers) - 1).sum())
