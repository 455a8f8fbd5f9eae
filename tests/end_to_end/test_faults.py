"""Whole surveys over a cable that fails: every sample that the rig has sent is in the file or told as lost."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from daq.survey import SurveyResult, Where, run_survey
from recordings.reader import read_recording
from recordings.types import KeyRecording
from rig.virtual.serve import serve
from rig.virtual.virtual_rig import VirtualRig
from tests.daq.rigs import KEYS, SPEED, a_plan, a_virtual_rig, silent_talk
from tests.spoiled_wire import ALL_FAULTS, SpoiledWire, random_faults, spoiled_by


@contextmanager
def a_spoiled_rig(tmp_path: Path, faults: dict[int, str], seed: int = 1) -> Iterator[tuple[VirtualRig, SpoiledWire]]:
    rig = a_virtual_rig(KEYS[39:41])
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


def survey_over(tmp_path: Path, faults: dict[int, str], seed: int = 1) -> tuple[SurveyResult, VirtualRig, SpoiledWire]:
    with a_spoiled_rig(tmp_path, faults, seed) as (rig, wire):
        where = Where(port_path=wire.path, out=tmp_path / "r.h5", patience_s=20.0)
        return run_survey(where, a_plan("C4,C#4"), silent_talk()), rig, wire


def attempts_in(path: Path) -> list[KeyRecording]:
    return [
        attempt
        for key in read_recording(path).keys
        for attempt in (*(aside.attempt for aside in key.set_aside), key)
        if len(attempt.trace)
    ]


def missing_inside(attempt: KeyRecording) -> int:
    return int((np.diff(attempt.trace.sample_number) - 1).sum())


def told_lost_inside(attempt: KeyRecording) -> int:
    """Sum up the losses told between the first and the last sample; one before it belongs to the way to the key."""
    first, last = int(attempt.trace.sample_number[0]), int(attempt.trace.sample_number[-1])
    before = {
        damage: int(damage.detail.rpartition(" ")[2]) for damage in attempt.damage if damage.kind == "lost_samples"
    }
    return sum(damage.amount for damage, number in before.items() if first < number <= last)


@pytest.mark.parametrize("seed", range(120))
def test_whatever_befalls_the_cable_what_was_sent_is_stored_or_told_lost(seed: int, tmp_path: Path) -> None:
    random = np.random.default_rng(seed)
    faults = random_faults(random, kinds=ALL_FAULTS, count=int(random.integers(1, 5)), frames=300)
    result, rig, wire = survey_over(tmp_path, faults, seed)
    recorded = attempts_in(tmp_path / "r.h5")

    assert result.samples_heard + result.samples_lost == rig.samples_numbered
    assert [key.name for key in result.recorded] == ["C4", "C#4"]
    assert sum(len(attempt.trace) for attempt in recorded) == result.sample_count
    assert [missing_inside(attempt) for attempt in recorded] == [told_lost_inside(attempt) for attempt in recorded]
    assert wire.happened
    assert read_recording(tmp_path / "r.h5").complete


@pytest.mark.parametrize("fault", ["unplug", "restart", "silence"])
def test_the_key_in_hand_is_begun_again_and_the_attempt_kept(fault: str, tmp_path: Path) -> None:
    survey_over(tmp_path, {60: fault})
    recording = read_recording(tmp_path / "r.h5")
    asides = [aside for key in recording.keys for aside in key.set_aside]

    if fault == "silence":  # it was over before patience was
        assert asides == []
    else:
        assert len(asides) == 1
        assert any(entry.kind == "cable" and "answers again" in entry.text for entry in recording.diary)
    assert all([mark.name for mark in key.marks] == ["stroke 1", "return"] for key in recording.keys)
