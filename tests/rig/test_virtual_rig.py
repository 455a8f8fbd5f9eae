"""The virtual rig as its host sees it: a conversation in bytes, with the time told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rig.protocol.frames import Frame, FrameDecoder, encode_frame
from rig.protocol.messages import (
    Ack,
    Ask,
    Axis,
    Cause,
    Channel,
    Cue,
    EventBlock,
    Greet,
    Heartbeat,
    Hello,
    Home,
    Lamp,
    Message,
    Move,
    Nak,
    Refusal,
    SampleBlock,
    StartStream,
    State,
    Status,
    Stop,
    StopStream,
    StreamEnd,
    Swing,
)
from rig.protocol.table import PROTOCOL_VERSION
from rig.virtual.bench import BenchSpec
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.stage import StageSpec
from rig.virtual.virtual_rig import RigSpec, VirtualRig

KEYS = keyboard_of(load_scenario("fern"))
DOWN = Move(Axis.PLUNGER, 20_000, 4000, 200_000, 4000)


class Host:
    """Talks to a virtual rig and keeps what it hears; beats its heart unless told not to."""

    def __init__(self, rig: VirtualRig | None = None) -> None:
        self.rig, self.now_us, self.sequence = rig or VirtualRig(KEYS[:40]), 0, 0
        self._decoder = FrameDecoder()

    def say(self, message: Message) -> list[Message]:
        self.sequence += 1
        return self._heard(self.rig.receive(encode_frame(message, self.sequence), self.now_us))

    def wait(self, seconds: float, *, beating: bool = True) -> list[Message]:
        heard: list[Message] = []
        for _ in range(round(seconds / 0.05)):
            self.now_us += 50_000
            if beating:
                heard += self.say(Heartbeat())
            else:
                heard += self._heard(self.rig.advance(self.now_us))
        return heard

    def _heard(self, received: bytes) -> list[Message]:
        items = self._decoder.feed(received)
        assert all(isinstance(item, Frame) for item in items)
        return [item.message for item in items if isinstance(item, Frame)]


SWING = Swing(2500, 9000, 3, 30_000, 2_000_000, 10_000)


def a_bench(**stage: float) -> VirtualRig:
    """A rig whose stage has a fault."""
    return VirtualRig(KEYS[:1], RigSpec(bench=BenchSpec(stage=StageSpec(**stage))))


def a_greeted_host(rig: VirtualRig | None = None) -> Host:
    host = Host(rig)
    host.say(Greet(PROTOCOL_VERSION))
    host.say(Home())
    host.wait(0.1)
    host.say(StartStream())
    return host


def samples_in(heard: list[Message]) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    return np.concatenate([message.samples for message in heard if isinstance(message, SampleBlock)])


def statuses_in(heard: list[Message]) -> list[Status]:
    return [message for message in heard if isinstance(message, Status)]


def test_greeted_it_names_itself_its_channels_and_says_done() -> None:
    hello, force, displacement, ack = Host().say(Greet(PROTOCOL_VERSION))

    assert isinstance(hello, Hello)
    assert hello.sample_rate_mhz == 1_000_000
    assert isinstance(force, Channel)
    assert isinstance(displacement, Channel)
    assert (force.name, force.unit, displacement.name, displacement.unit) == ("force", "N", "displacement", "mm")
    assert ack == Ack(1)


@pytest.mark.parametrize("transcript", sorted((Path(__file__).parents[1] / "transcripts").glob("*.txt")), ids=str)
def test_the_rig_answers_as_the_transcript_says(transcript: Path) -> None:
    rig, now_us = VirtualRig(KEYS[:1]), 0
    for line in transcript.read_text().splitlines():
        speaker, _, said = line.partition(" ")
        if speaker == "host":
            answer = rig.receive(bytes.fromhex(said), now_us)
        if speaker == "rig":
            assert answer.hex(" ") == said.strip()


def test_samples_are_numbered_without_a_gap_and_stamped_every_millisecond() -> None:
    samples = [message for message in a_greeted_host().wait(1.0) if isinstance(message, SampleBlock)]
    numbers = np.concatenate([m.first_sample_number + np.arange(len(m.samples)) for m in samples])
    ticks = np.concatenate([message.samples["tick_us"] for message in samples]).astype(np.int64)

    assert len(numbers) == 1000
    assert (np.diff(numbers) == 1).all()
    assert (np.diff(ticks) == 1000).all()


def test_nothing_is_streamed_before_it_is_asked_for() -> None:
    host = Host()
    host.say(Greet(PROTOCOL_VERSION))

    assert host.wait(0.5) == []


def test_a_press_ends_at_the_force_limit_and_sounds_the_note() -> None:
    host = a_greeted_host()
    host.say(DOWN)
    heard = host.wait(5.0)

    (status,) = statuses_in(heard)
    assert (status.axis, status.state, status.cause) == (Axis.PLUNGER, State.IDLE, Cause.FORCE_LIMIT)
    force = samples_in(heard)["force_counts"] / 20_000
    assert 4.0 <= force.max() < 4.6
    said = np.concatenate([message.events["byte"] for message in heard if isinstance(message, EventBlock)])
    assert said[:2].tolist() == [0x90, 21]  # MIDI 1.0: note-on, A0 is note 21


def test_the_watchdog_stops_a_move_when_the_host_falls_silent() -> None:
    host = a_greeted_host()
    host.say(DOWN)
    heard = host.wait(1.0, beating=False)

    (status,) = statuses_in(heard)
    assert (status.state, status.cause) == (State.STOPPED, Cause.HOST_SILENT)
    began_us = 150_000  # after the greeting and the way home
    assert status.tick_us - began_us <= 250_000 + 100_000  # the silence allowed, and a block of samples


def test_stop_stops_and_may_be_said_again() -> None:
    host = a_greeted_host()
    host.say(DOWN)
    host.wait(0.3)
    heard = host.say(Stop()) + host.wait(0.2) + host.say(Stop()) + host.say(Stop())

    assert [status.cause for status in statuses_in(heard)] == [Cause.STOP_COMMAND]
    assert len([message for message in heard if isinstance(message, Ack)]) == 3
    place = samples_in(host.wait(0.5))["displacement_counts"]
    assert place.max() - place.min() <= 3  # counts of 2 um: it stands, the gauge flickers


@pytest.mark.parametrize(
    ("message", "refusal"),
    [
        pytest.param(Move(Axis.PLUNGER, 99_000, 4000, 100_000, 4000), Refusal.OUT_OF_RANGE, id="too deep"),
        pytest.param(Move(Axis.PLUNGER, 5000, 0, 100_000, 4000), Refusal.OUT_OF_RANGE, id="no speed"),
        pytest.param(Move(Axis.PLUNGER, 5000, 4000, 100_000, 0), Refusal.OUT_OF_RANGE, id="no force limit"),
        pytest.param(Move(Axis.CARRIAGE, 99, 0, 0, 0), Refusal.OUT_OF_RANGE, id="no such key"),
        pytest.param(Move(7, 0, 1, 1, 1), Refusal.NO_SUCH_AXIS, id="no such axis"),
        pytest.param(Ack(1), Refusal.UNKNOWN_COMMAND, id="no command"),
    ],
)
def test_what_cannot_be_done_is_refused_with_a_reason(message: Message, refusal: Refusal) -> None:
    host = a_greeted_host()

    assert host.say(message) == [Nak(host.sequence, refusal)]


def test_a_stranger_may_not_move_it() -> None:
    assert Host().say(DOWN) == [Nak(1, Refusal.NOT_GREETED)]


def test_a_moving_rig_takes_no_second_move() -> None:
    host = a_greeted_host()
    host.say(DOWN)

    assert host.say(DOWN) == [Nak(host.sequence, Refusal.BUSY)]


def test_the_carriage_moves_only_with_the_plunger_up() -> None:
    host = a_greeted_host()
    host.say(Move(Axis.PLUNGER, 2000, 10_000, 200_000, 4000))
    host.wait(1.0)

    assert host.say(Move(Axis.CARRIAGE, 2, 0, 0, 0)) == [Nak(host.sequence, Refusal.BUSY)]


def test_the_same_seed_gives_the_same_bytes() -> None:
    def heard() -> list[Message]:
        host = a_greeted_host(VirtualRig(keyboard_of(load_scenario("moss"))[:3], RigSpec()))
        host.say(DOWN)
        return host.wait(2.0)

    assert heard() == heard()


def test_nothing_moves_before_the_plunger_is_home() -> None:
    host = Host()
    host.say(Greet(PROTOCOL_VERSION))

    assert host.say(DOWN) == [Nak(host.sequence, Refusal.NOT_HOMED)]


def test_a_command_that_comes_twice_is_done_once_and_answered_twice() -> None:
    host = a_greeted_host()
    down = encode_frame(DOWN, 77)
    heard = [host.rig.receive(down, host.now_us), host.rig.receive(down, host.now_us)]

    decoded = [FrameDecoder().feed(answer)[0] for answer in heard]
    assert [item.message for item in decoded if isinstance(item, Frame)] == [Ack(77), Ack(77)]


def test_a_heartbeat_is_refused_only_by_a_rig_that_was_not_greeted() -> None:
    host = Host()
    assert host.say(Heartbeat()) == [Nak(host.sequence, Refusal.NOT_GREETED)]
    host.say(Greet(PROTOCOL_VERSION))

    assert host.say(Heartbeat()) == []


def test_a_restart_forgets_the_greeting_and_the_place_but_not_the_numbers() -> None:
    host = a_greeted_host()
    host.wait(1.0)
    sent = host.rig.samples_numbered
    host.rig.restart()
    (hello,) = host._heard(host.rig.advance(host.now_us))

    assert isinstance(hello, Hello)
    assert (hello.start_count, hello.next_sample_number) == (2, sent)
    assert host.wait(0.2, beating=False) == []
    assert host.say(DOWN) == [Nak(host.sequence, Refusal.NOT_GREETED)]
    host.say(Greet(PROTOCOL_VERSION))
    assert host.say(DOWN) == [Nak(host.sequence, Refusal.NOT_HOMED)]
    host.say(StartStream())
    first = next(message for message in host.wait(0.2) if isinstance(message, SampleBlock))
    assert first.first_sample_number == sent
    assert first.samples["tick_us"][0] < 1_000_000  # its clock has begun anew


def test_the_end_of_a_stream_says_what_would_have_come_next() -> None:
    host = a_greeted_host()
    host.wait(0.5)
    end, ack = host.say(StopStream())

    assert end == StreamEnd(500, 0)
    assert ack == Ack(host.sequence)


def test_a_swing_presses_as_often_as_it_was_told_and_ends_on_top() -> None:
    host = a_greeted_host()
    host.say(SWING)
    heard = host.wait(2.0)
    place = samples_in(heard)["displacement_counts"] / 500

    (status,) = statuses_in(heard)
    assert (status.cause, status.command) == (Cause.TARGET_REACHED, host.sequence - 40)
    assert np.count_nonzero((place[:-1] < 8.0) & (place[1:] >= 8.0)) == 3
    assert abs(place[-1] - 2.5) < 0.02


def test_an_axis_tells_what_it_does_when_asked() -> None:
    host = a_greeted_host()
    host.say(DOWN)
    moved = host.sequence
    status = host.say(Ask(Axis.PLUNGER))[0]

    assert isinstance(status, Status)
    assert (status.state, status.command) == (State.MOVING, moved)
    assert host.say(Ask(9)) == [Nak(host.sequence, Refusal.NO_SUCH_AXIS)]


@pytest.mark.parametrize(
    ("rig", "cause"),
    [
        pytest.param(a_bench(jam_mm=1.5), Cause.STALL, id="the plunger is jammed"),
        pytest.param(a_bench(slipped_mm=0.4), Cause.OVER_TRAVEL, id="the screw has slipped"),
    ],
)
def test_a_stage_at_fault_stops_by_itself(rig: VirtualRig, cause: Cause) -> None:
    rig.bench.keys[1].surface_mm = 60.0  # nothing in the way
    host = a_greeted_host(rig)
    host.say(Move(Axis.PLUNGER, 25_000, 10_000, 200_000, 8000))
    (status,) = statuses_in(host.wait(4.0))

    assert (status.state, status.cause) == (State.STOPPED, cause)


def test_a_cue_is_shown() -> None:
    host = a_greeted_host()

    assert host.say(Cue(40, 1, 3, Lamp.AGAIN)) == [Ack(host.sequence)]
    assert host.rig.last_cue == Cue(40, 1, 3, Lamp.AGAIN)


def test_a_quiet_bench_makes_the_same_samples_as_one_that_is_stepped_through() -> None:
    quick, slow = (a_greeted_host(VirtualRig(KEYS[:1])) for _ in range(2))
    slow.rig.bench._nothing_happens = lambda: False  # type: ignore[method-assign]

    assert np.array_equal(samples_in(quick.wait(1.0)), samples_in(slow.wait(1.0)))
