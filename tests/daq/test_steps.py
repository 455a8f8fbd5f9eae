"""Every step of a stroke programme on the virtual rig: what it leaves in the recording, and that it can be stopped."""

from __future__ import annotations

import re
import threading
from pathlib import Path

import numpy as np
import pytest

from daq.errors import ProgrammeUnfit, StoppedForSafety
from daq.link import Link
from daq.programme import (
    PartialLifts,
    Programme,
    RepetitionLadder,
    Rest,
    SpeedLadder,
    Strokes,
    built_in_programmes,
    load_programme,
)
from recordings.keys import Key
from recordings.partial import partial_folder
from recordings.reader import read_recording
from recordings.types import KeyRecording
from rig.protocol.messages import Cause, Heartbeat, Message, Stop
from rig.virtual.bench import BenchSpec
from rig.virtual.scenario import KeySpec
from rig.virtual.stage import StageSpec
from rig.virtual.truths import true_curve
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from tests.daq.rigs import KEYS, SPEED, a_plan, a_programme, a_rig, a_virtual_rig, survey

ONE = Strokes(do="strokes", count=1, speed_mm_per_s=5.0, rest_s=0.1)
QUICK = {
    "rest": a_programme(Rest(do="rest", seconds=0.5)),
    "strokes": a_programme(ONE),
    "speed ladder": a_programme(ONE, SpeedLadder(do="speed ladder", speeds_mm_per_s=(10.0, 50.0), strokes_each=1)),
    "partial lifts": a_programme(ONE, PartialLifts(do="partial lifts", closest_mm=0.5)),
    "repetition ladder": a_programme(ONE, RepetitionLadder(do="repetition ladder", rates_hz=(2.0, 4.0), presses=3)),
}


def recorded(tmp_path: Path, programme: Programme, key: str = "C4") -> KeyRecording:
    with a_rig() as port:
        survey(port, tmp_path / "r.h5", a_plan(key, programme))
    return read_recording(tmp_path / "r.h5").keys[0]


def marks(recording: KeyRecording) -> list[str]:
    return [mark.name for mark in recording.marks]


@pytest.mark.parametrize("name", built_in_programmes())
def test_every_built_in_programme_says_what_it_is_for(name: str) -> None:
    programme = load_programme(name)

    assert programme.name == name
    assert programme.summary.endswith(".")


def test_a_rest_before_and_after_brackets_the_strokes(tmp_path: Path) -> None:
    assert marks(recorded(tmp_path, load_programme("slow"))) == [
        "rest", "stroke 1", "stroke 2", "stroke 3", "rest", "return",
    ]  # fmt: skip


def speed_in(recording: KeyRecording, mark_name: str) -> float:
    """Return the speed in mm/s halfway down a stroke."""
    (mark,) = [mark for mark in recording.marks if mark.name == mark_name]
    here = (recording.trace.sample_number >= mark.first_sample) & (recording.trace.sample_number <= mark.last_sample)
    place, tick = recording.trace.displacement_counts[here] / 500, recording.trace.tick_us[here] * 1e-6
    down = slice(0, int(np.argmax(place)))
    low, high = np.interp([6.0, 8.0], place[down], tick[down])
    return float(2.0 / (high - low))


def test_a_speed_ladder_reaches_its_speeds_before_the_note(tmp_path: Path) -> None:
    recording = recorded(tmp_path, QUICK["speed ladder"])

    for speed in (10.0, 50.0):
        assert speed_in(recording, f"{speed:g} mm/s, stroke 1") == pytest.approx(speed, rel=0.05)  # the screw's wobble


def lift_that_sounds_again(key: KeySpec) -> float:
    """Return the truth: how far the plunger rises from where 4 N hold it to where the note is armed again, in mm."""
    curve = true_curve(key)
    bed_mm = float(np.interp(4.0, curve.down_newton, curve.way_mm + curve.touch_mm))
    give_mm = 0.02 * 4.0  # the bench's own, at 4 N; at the place of reset next to nothing is left of it
    return bed_mm + give_mm - key.note.rearm_mm


@pytest.mark.parametrize("key", ["C4", "A1", "F6"])
def test_partial_lifts_close_in_on_the_height_at_which_the_key_sounds_again(key: str, tmp_path: Path) -> None:
    programme = a_programme(ONE, PartialLifts(do="partial lifts"))
    recording = recorded(tmp_path, programme, key)
    found = re.fullmatch(r"resets between ([\d.]+) and ([\d.]+) mm", marks(recording)[-2])

    assert found is not None
    fails_mm, works_mm = float(found[1]), float(found[2])
    assert 0.0 < works_mm - fails_mm <= 0.05
    truth_mm = lift_that_sounds_again(KEYS[Key.from_name(key).number - 1])
    assert fails_mm - 0.04 <= truth_mm <= works_mm + 0.04  # the bed is met within 0.02 mm, the screw wobbles by 0.006


def test_partial_lifts_end_at_their_limit_of_lifts(tmp_path: Path) -> None:
    recording = recorded(tmp_path, a_programme(ONE, PartialLifts(do="partial lifts", most_lifts=3)))

    assert len([name for name in marks(recording) if name.startswith("lift ")]) == 3


def test_a_repetition_ladder_ends_where_not_all_presses_sound(tmp_path: Path) -> None:
    small = RepetitionLadder(do="repetition ladder", rates_hz=(2.0, 4.0), presses=4, lift_mm=0.5)
    recording = recorded(tmp_path, a_programme(ONE, small))

    assert marks(recording)[1] == "2 Hz: 0 of 4 sounded"  # half a millimetre arms no note again
    assert not any(name.startswith("4 Hz") for name in marks(recording))


def test_a_repetition_ladder_counts_every_press_that_sounds(tmp_path: Path) -> None:
    recording = recorded(tmp_path, QUICK["repetition ladder"])

    assert marks(recording)[1:3] == ["2 Hz: 3 of 3 sounded", "4 Hz: 3 of 3 sounded"]


def test_a_rate_beyond_the_plunger_is_said_and_not_tried(tmp_path: Path) -> None:
    impossible = RepetitionLadder(do="repetition ladder", rates_hz=(40.0,))

    assert marks(recorded(tmp_path, a_programme(ONE, impossible)))[1] == "40 Hz: faster than the plunger can"


@pytest.mark.parametrize(
    ("step", "why"),
    [
        pytest.param(SpeedLadder(do="speed ladder", speeds_mm_per_s=(900.0,)), "speed_mm_per_s 900", id="too fast"),
        pytest.param(ONE.model_copy(update={"force_limit_newton": 50.0}), "force_limit_newton 50", id="too strong"),
        pytest.param(ONE.model_copy(update={"acceleration_mm_per_s2": 1e6}), "acceleration", id="too hard"),
    ],
)
def test_what_the_rig_cannot_do_is_refused_before_anything_moves(step: Strokes, why: str, tmp_path: Path) -> None:
    rig = a_virtual_rig()
    with a_rig(rig=rig) as port, pytest.raises(ProgrammeUnfit, match=re.escape(why)):
        survey(port, tmp_path / "r.h5", a_plan("C4", a_programme(ONE, step)))

    assert list(tmp_path.iterdir()) == []
    assert rig.bench.stage.screw_mm == 0.0


def test_steps_that_need_the_bed_want_a_slow_stroke_before_them(tmp_path: Path) -> None:
    with a_rig() as port, pytest.raises(ProgrammeUnfit, match="needs a step of slow strokes"):
        survey(port, tmp_path / "r.h5", a_plan("C4", a_programme(PartialLifts(do="partial lifts"))))


class Interrupter:
    """Presses Ctrl-C when the host is about to send its n-th command, and keeps what was sent."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, at: int) -> None:
        self.sent: list[Message] = []
        plain_send, main = Link.send, threading.current_thread()

        def send(link: Link, message: Message, sequence: int | None = None) -> int:
            if not isinstance(message, Heartbeat) and threading.current_thread() is main:
                self.sent.append(message)
                if len(self.sent) == at:
                    raise KeyboardInterrupt
            return plain_send(link, message, sequence)

        monkeypatch.setattr(Link, "send", send)


@pytest.mark.parametrize("name", QUICK)
def test_ctrl_c_before_any_command_of_any_programme_ends_in_stop(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At every command in turn, until the survey is through: the last word is Stop, the plunger stands, all is kept."""
    at, through = 0, False
    while not through:
        at += 1
        rig, path = a_virtual_rig(KEYS[39:40]), tmp_path / f"{at}.h5"
        with monkeypatch.context() as patched, a_rig(rig=rig) as port:
            interrupter = Interrupter(patched, at)
            try:
                survey(port, path, a_plan("C4", QUICK[name]))
                through = True
            except KeyboardInterrupt:
                assert isinstance(interrupter.sent[-1], Stop)
                assert (
                    path.exists() or partial_folder(path).exists() or at <= 2
                )  # nothing is begun before it is greeted
                rig_stands = threading.Event()
                for _ in range(200):
                    if not rig.bench.stage.moving:
                        rig_stands.set()
                        break
                    rig_stands.wait(0.01)
                assert rig_stands.is_set()
    assert at > 10


@pytest.mark.parametrize(
    ("stage", "cause"),
    [
        pytest.param(StageSpec(jam_mm=6.0), Cause.STALL, id="the plunger is jammed"),
        pytest.param(StageSpec(highest_mm=7.0, slipped_mm=0.4), Cause.OVER_TRAVEL, id="the screw has slipped"),
    ],
)
def test_a_guard_of_the_rig_ends_the_survey_and_keeps_what_there_is(
    stage: StageSpec, cause: Cause, tmp_path: Path
) -> None:
    rig = VirtualRig(KEYS[39:40], RigSpec(watchdog_us=round(250_000 * SPEED), bench=BenchSpec(stage=stage)))
    words = cause.name.lower().replace("_", " ")
    with a_rig(rig=rig) as port, pytest.raises(StoppedForSafety, match=f"stopped by itself: {words}"):
        survey(port, tmp_path / "r.h5")

    assert partial_folder(tmp_path / "r.h5").is_dir()
    assert not rig.bench.stage.moving


def test_the_host_stops_a_rig_whose_own_force_limit_has_failed(tmp_path: Path) -> None:
    rig = a_virtual_rig(KEYS[39:40])
    rig.bench._guard = lambda *_: None  # type: ignore[method-assign]
    with (
        a_rig(rig=rig, speed=5.0) as port,
        pytest.raises(StoppedForSafety, match="the host stopped the rig: the force"),
    ):
        survey(port, tmp_path / "r.h5")

    assert not rig.bench.stage.moving


def test_a_host_that_falls_silent_is_noticed_by_the_rig_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daq.link.HEARTBEAT_EVERY_S", 1000.0)
    rig = VirtualRig(KEYS[39:40], RigSpec(watchdog_us=250_000))
    with a_rig(rig=rig) as port, pytest.raises(StoppedForSafety, match="host silent"):
        survey(port, tmp_path / "r.h5")

    assert not rig.bench.stage.moving
