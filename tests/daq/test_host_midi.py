"""A MIDI port at the host: real TCP through mido's port server, a simulated rig clock, a host clock that the test sets.

The host's clock is set before each message and stands until the message has come out, so nothing here depends on how
fast this machine is.
"""

from __future__ import annotations

import queue
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import mido
import numpy as np
import pytest
from mido.ports import BaseInput
from mido.sockets import PortServer, SocketPort

from daq.clock_fit import ClockWatch
from daq.errors import MidiPortNotFound
from daq.host_midi import POLL_S, HostMidi, open_midi
from recordings.midi import MidiParser
from recordings.types import HOST_MIDI, Damage, RawEvents
from tests.daq.test_clock_fit import SimulatedClock, watched

ON, OFF = mido.Message("note_on", note=60, velocity=70), mido.Message("note_off", note=60, velocity=64)
PATIENCE_S = 10.0
CLOCK = SimulatedClock(drift_ppm=120.0, mean_delay_s=0.002)


class Bench:
    """The far end of the wire, the host's clock, and what the sink was given."""

    def __init__(self, instrument: SocketPort, port: BaseInput, clock: ClockWatch) -> None:
        self.instrument, self.now_s = instrument, 0.0
        self.heard: queue.SimpleQueue[RawEvents | Damage] = queue.SimpleQueue()
        self.midi = HostMidi(port, self.heard.put, clock, now_s=lambda: self.now_s)

    def next(self) -> RawEvents | Damage:
        return self.heard.get(timeout=PATIENCE_S)

    def await_waiting(self, count: int) -> None:
        """Until so many messages have come over the wire and wait for a fit."""
        give_up_s = time.monotonic() + PATIENCE_S
        while len(self.midi._waiting) < count:
            assert time.monotonic() < give_up_s
            time.sleep(POLL_S)

    def events(self) -> RawEvents:
        heard = self.next()
        assert isinstance(heard, RawEvents)
        return heard


@contextmanager
def a_bench(clock: ClockWatch) -> Iterator[Bench]:
    with PortServer("127.0.0.1", 0) as server:
        port = open_midi(f"tcp://127.0.0.1:{server._socket.getsockname()[1]}")
        accepted = server.accept()
        with accepted._socket, accepted._rfile, accepted._wfile:  # mido closes only the first of them
            bench = Bench(accepted, port, clock)
            with bench.midi:
                yield bench
            accepted.close()


def test_a_note_through_tcp_gets_the_rigs_tick_within_the_stated_bound() -> None:
    """The true tick of each message is known; it is heard as late as a message can be by the wire and the poll."""
    late_s = 0.00096 + POLL_S + 0.002
    with a_bench(watched(CLOCK)) as bench:
        bound_ms = bench.midi.latency_bound_ms
        for rig_us in range(1_000_000, 60_000_000, 7_000_000):
            bench.now_s = CLOCK.host_s_at(rig_us) + late_s
            bench.instrument.send(ON)
            events = bench.events()
            late_ms = (events.tick_us - CLOCK.first_tick_us - rig_us) * 1e-3

            assert bound_ms is not None
            assert events.source.tolist() == [HOST_MIDI] * 3
            assert events.byte.tolist() == [0x90, 60, 70]
            assert np.all(late_ms > -0.1)
            assert np.all(late_ms < bound_ms)
            assert late_ms == pytest.approx(late_s * 1e3, abs=0.1)


def test_the_bound_is_the_hosts_lateness_and_the_poll_and_the_wire() -> None:
    """960 us: three bytes of ten bits at 31250 Bd."""
    clock = watched(CLOCK)
    fit = clock.fit()
    with a_bench(clock) as bench:
        assert fit is not None
        assert bench.midi.latency_bound_ms == pytest.approx(fit.lateness_bound_s * 1e3 + 1.0 + 0.96, rel=0.001)


def test_on_a_rig_played_tenfold_the_bound_is_tenfold_in_its_time() -> None:
    clock = watched(SimulatedClock(speed=10.0, seconds=300.0, huge_share=0.0))
    fit = clock.fit()
    with a_bench(clock) as bench:
        assert fit is not None
        assert bench.midi.latency_bound_ms == pytest.approx(10.0 * (fit.lateness_bound_s * 1e3 + 1.96), rel=0.01)


def test_what_comes_before_the_first_fit_waits_for_it() -> None:
    clock = ClockWatch()
    with a_bench(clock) as bench:
        assert bench.midi.latency_bound_ms is None
        bench.now_s = CLOCK.host_s_at(2_000_000)
        bench.instrument.send(ON)
        bench.instrument.send(OFF)
        bench.await_waiting(2)
        assert bench.heard.empty()
        for pair in CLOCK.pairs():
            clock.add(*pair)
        events = bench.events()

        assert events.byte.tolist() == [*ON.bytes(), *OFF.bytes()]
        assert events.tick_us == pytest.approx(CLOCK.first_tick_us + 2_000_000, abs=2000)


def test_realtime_messages_are_left_out_and_all_others_kept() -> None:
    low_bits = mido.Message("control_change", control=88, value=64)
    with a_bench(watched(CLOCK)) as bench:
        for message in (mido.Message("active_sensing"), low_bits, mido.Message("clock"), ON):
            bench.instrument.send(message)
        parser, notes = MidiParser(), []
        while not notes:
            events = bench.events()
            notes = parser.feed(events.tick_us.tolist(), events.byte.tolist())

        assert notes[0].velocity == 70.5


def test_a_port_that_goes_away_is_told_as_damage() -> None:
    with a_bench(watched(CLOCK)) as bench:
        bench.instrument._socket.shutdown(2)
        told = bench.next()

        assert isinstance(told, Damage)
        assert told.kind == "midi_port_lost"


def test_messages_for_which_no_tick_ever_came_are_told_when_it_ends() -> None:
    with a_bench(ClockWatch()) as bench:
        bench.instrument.send(ON)
        bench.instrument.send(OFF)
        bench.await_waiting(2)
        bench.midi.close()
        told = bench.next()

        assert isinstance(told, Damage)
        assert (told.kind, told.amount) == ("midi_without_clock", 2)


@pytest.mark.parametrize("name", ["tcp://", "tcp://localhost", "tcp://localhost:seven", "tcp://localhost:99999"])
def test_a_place_that_is_no_host_and_port_is_refused(name: str) -> None:
    with pytest.raises(MidiPortNotFound, match="tcp://"):
        open_midi(name)


def test_a_host_where_nobody_listens_is_told() -> None:
    with PortServer("127.0.0.1", 0) as server:
        free = server._socket.getsockname()[1]

    with pytest.raises(MidiPortNotFound, match="refused"):
        open_midi(f"tcp://127.0.0.1:{free}")


def test_without_the_backend_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rtmidi", None)  # so that importing it fails, installed or not

    with pytest.raises(MidiPortNotFound, match=r"pip install 'keyplumb\[midi\]'"):
        open_midi("a keyboard")


def test_an_unknown_port_is_told_with_the_ports_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(name: str) -> BaseInput:
        raise OSError(f"unknown port {name!r}")

    monkeypatch.setattr(mido, "open_input", unknown)
    monkeypatch.setattr(mido, "get_input_names", lambda: ["fern", "moss"])

    with pytest.raises(MidiPortNotFound, match="'fern', 'moss'"):
        open_midi("a keyboard")


def test_a_system_without_midi_is_told_in_its_own_words(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_midi(*_: object) -> BaseInput:
        raise OSError("error creating sequencer client object")  # rtmidi.SystemError is an OSError

    monkeypatch.setattr(mido, "open_input", no_midi)
    monkeypatch.setattr(mido, "get_input_names", no_midi)

    with pytest.raises(MidiPortNotFound, match="sequencer client"):
        open_midi("a keyboard")
