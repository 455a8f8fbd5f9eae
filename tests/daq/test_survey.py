"""A survey through a real pseudo-terminal, with the virtual rig as a thread at the far end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from daq.errors import CommandRefused, PortNotFound, RigSilent
from daq.plan import plan_visits
from daq.programme import Programme, Strokes
from daq.survey import SurveyPlan, SurveyResult, Where, run_survey
from daq.talk import Progress, Talk
from recordings.errors import RecordingExists
from recordings.keys import Key, parse_keys
from recordings.partial import assemble, partial_folder
from recordings.reader import read_recording
from recordings.types import RunInfo
from rig.virtual.scenario import KeySpec, keyboard_of, load_scenario
from rig.virtual.serve import open_wire, serve
from rig.virtual.virtual_rig import RigSpec, VirtualRig

KEYS = keyboard_of(load_scenario("fern"))
SPEED = 50.0
RUN = RunInfo(instrument="fern", started_at=datetime(2026, 3, 1, tzinfo=UTC), software_version="0", programme="a test")
ONE_STROKE = Programme(name="one", summary="one stroke", steps=(Strokes(do="strokes", count=1, speed_mm_per_s=5.0),))


@contextmanager
def a_rig(
    tcp_port: int | None = None, *, stop: threading.Event | None = None, keys: tuple[KeySpec, ...] = KEYS
) -> Iterator[str]:
    """Serve a virtual rig in a thread and give its port."""
    stop = stop or threading.Event()
    rig = VirtualRig(keys, RigSpec(watchdog_us=round(250_000 * SPEED)))
    with open_wire(tcp_port) as wire:
        served = threading.Thread(target=serve, args=(wire, rig), kwargs={"speed": SPEED, "until": stop.is_set})
        served.start()
        try:
            yield wire.path
        finally:
            stop.set()
            served.join()


def a_plan(keys: str = "C4", programme: Programme = ONE_STROKE) -> SurveyPlan:
    return SurveyPlan(visits=plan_visits(((parse_keys(keys), programme),)), run=RUN)


def never_placed(key: Key) -> None:
    raise AssertionError(f"the rig has a carriage and needs nobody to place it over {key.name}")


def silent_talk(on_progress: Callable[[Progress], None] = lambda _: None) -> Talk:
    return Talk(progress=on_progress, place_rig=never_placed, tell=lambda _: None)


def survey(
    port: str, out: Path, plan: SurveyPlan | None = None, on_progress: Callable[[Progress], None] = lambda _: None
) -> SurveyResult:
    where = Where(port_path=port, out=out, patience_s=0.5)
    return run_survey(where, plan or a_plan(), silent_talk(on_progress))


@pytest.mark.parametrize("tcp_port", [None, 0], ids=["pseudo-terminal", "TCP"])
def test_every_sample_of_every_stroke_is_in_the_file(tcp_port: int | None, tmp_path: Path) -> None:
    seen: list[Progress] = []
    with a_rig(tcp_port) as port:
        result = survey(port, tmp_path / "r.h5", a_plan("C4..D4"), seen.append)
    recording = read_recording(tmp_path / "r.h5")

    assert [key.key.name for key in recording.keys] == ["C4", "C#4", "D4"]
    assert recording.complete
    assert result.damage_count == 0
    for key in recording.keys:
        assert (np.diff(key.trace.sample_number) == 1).all()
        assert (np.diff(key.trace.tick_us) == 1000).all()
        assert [mark.name for mark in key.marks] == ["stroke 1", "return"]
        assert key.events.byte[:2].tolist() == [0x90, key.key.note]
    assert sum(len(key.trace) for key in recording.keys) == result.sample_count
    assert [(progress.key.name, progress.doing) for progress in seen[:3]] == [
        ("C4", "approach"),
        ("C4", "stroke 1 of 1"),
        ("C#4", "approach"),
    ]
    assert seen[-1].seconds_left is not None


def test_the_plunger_goes_no_further_than_the_force_limit(tmp_path: Path) -> None:
    with a_rig() as port:
        survey(port, tmp_path / "r.h5")
    recording = read_recording(tmp_path / "r.h5")
    scale = recording.header.calibration.force
    force = recording.keys[0].trace.force_counts / scale.counts_per_unit

    assert 4.0 < force.max() - force[:100].mean() < 4.5


def test_a_survey_that_is_interrupted_keeps_what_was_finished(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"

    def interrupt(progress: Progress) -> None:
        if progress.key.name == "D4" and progress.doing.startswith("stroke"):
            raise KeyboardInterrupt

    with a_rig() as port, pytest.raises(KeyboardInterrupt):
        survey(port, path, a_plan("C4..D4"), interrupt)
    assert not path.exists()
    found = assemble(partial_folder(path), path)
    recording = read_recording(path)

    assert found.finished_stretches == 4
    assert not recording.complete
    assert [key.key.name for key in recording.keys][:2] == ["C4", "C#4"]
    assert len(recording.keys[1].marks) == 2


def test_a_rig_that_falls_silent_ends_the_survey_and_leaves_the_finished_strokes(tmp_path: Path) -> None:
    stop = threading.Event()

    def silence(progress: Progress) -> None:
        if progress.key.name == "C#4" and progress.doing.startswith("stroke"):
            stop.set()

    with a_rig(stop=stop) as port, pytest.raises(RigSilent):
        survey(port, tmp_path / "r.h5", a_plan("C4..D4"), silence)
    assert partial_folder(tmp_path / "r.h5").is_dir()


def test_a_refused_command_says_which_and_why(tmp_path: Path) -> None:
    too_deep = replace(KEYS[39], surface_mm=3.0)

    with a_rig(keys=(too_deep,)) as port, pytest.raises(CommandRefused, match="out of range"):
        survey(port, tmp_path / "r.h5", a_plan("C#4"))


def test_a_key_that_is_not_there_is_missed_and_the_next_is_recorded(tmp_path: Path) -> None:
    lifted = tuple(replace(key, surface_mm=60.0) if key.number == 40 else key for key in KEYS)

    with a_rig(keys=lifted) as port:
        result = survey(port, tmp_path / "r.h5", a_plan("C4,C#4"))
    assert [key.name for key in result.missed] == ["C4"]
    assert [key.name for key in result.recorded] == ["C#4"]


def test_nothing_is_touched_when_the_file_exists(tmp_path: Path) -> None:
    (tmp_path / "r.h5").write_bytes(b"precious")

    with pytest.raises(RecordingExists):
        survey("/dev/null", tmp_path / "r.h5")


def test_a_wrong_port_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(PortNotFound):
        survey("/dev/none", tmp_path / "r.h5")
    assert list(tmp_path.iterdir()) == []
