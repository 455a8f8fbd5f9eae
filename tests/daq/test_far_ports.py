"""Ports that are not on this machine: TCP, a serial port behind a network (RFC 2217), and MIDI through the computer."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import mido
import pytest
import serial
from mido.sockets import PortServer
from serial.rfc2217 import PortManager

from daq.programme import Rest
from daq.survey import Where, run_survey
from recordings.reader import read_recording
from recordings.types import HOST_MIDI
from tests.daq.rigs import ONE_STROKE, a_plan, a_programme, a_rig, silent_talk


class WithoutModemLines(serial.Serial):
    """A pseudo-terminal has no modem lines; a port manager asks for them and sets them."""

    cts = dsr = ri = cd = property(lambda _: False)

    def _update_dtr_state(self) -> None:
        """Leave it: there is none."""

    _update_rts_state = _update_break_state = _update_dtr_state


class Rfc2217Server:
    """Puts a serial port behind TCP by RFC 2217, for one client, with pyserial's own port manager."""

    def __init__(self, path: str) -> None:
        self._serial = WithoutModemLines(path, timeout=0.01, exclusive=True)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(10.0)
        self.url = f"rfc2217://127.0.0.1:{self._listener.getsockname()[1]}"
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._serve)]
        self._threads[0].start()

    def write(self, data: bytes) -> None:
        """Take what the port manager says to the client."""
        self._client.sendall(data)

    def _serve(self) -> None:
        self._client, _ = self._listener.accept()
        self._client.settimeout(None)
        manager = PortManager(self._serial, self)
        from_port = threading.Thread(target=self._from_port, args=(manager,))
        from_port.start()
        self._threads.append(from_port)
        while (received := self._client.recv(4096)) and not self._stop.is_set():
            self._serial.write(b"".join(manager.filter(received)))
        self._stop.set()

    def _from_port(self, manager: PortManager) -> None:
        while not self._stop.is_set():
            data = self._serial.read(max(1, self._serial.in_waiting))
            with suppress(OSError):  # the client may have gone
                self._client.sendall(b"".join(manager.escape(data)))

    def close(self) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join()
        self._client.close()
        self._listener.close()
        self._serial.close()


@contextmanager
def behind_rfc2217(path: str) -> Iterator[str]:
    server = Rfc2217Server(path)
    try:
        yield server.url
    finally:
        server.close()


@pytest.mark.filterwarnings(r"ignore:set(Name|Daemon)\(\) is deprecated:DeprecationWarning")  # in pyserial 3.5's client
def test_a_rig_behind_an_rfc_2217_server_is_recorded_without_a_loss(tmp_path: Path) -> None:
    with a_rig(speed=10.0) as pseudo_terminal, behind_rfc2217(pseudo_terminal) as url:
        result = run_survey(Where(port_path=url, out=tmp_path / "r.h5"), a_plan("C4", ONE_STROKE), silent_talk())
    (key,) = read_recording(tmp_path / "r.h5").keys

    assert result.samples_lost == 0
    assert result.damage_count == 0
    assert [mark.name for mark in key.marks] == ["stroke 1", "return"]


@contextmanager
def a_keyboard_at_the_computer() -> Iterator[str]:
    """A MIDI port server that plays C4 twenty times a second."""
    with PortServer("127.0.0.1", 0) as server:
        number = server._socket.getsockname()[1]
        stop = threading.Event()

        def play() -> None:
            client = server.accept()
            while not stop.wait(0.05):
                with suppress(OSError, ValueError):  # whoever listened may have gone
                    client.send(mido.Message("note_on", note=60, velocity=64))
            client.close()

        player = threading.Thread(target=play)
        player.start()
        try:
            yield f"tcp://127.0.0.1:{number}"
        finally:
            stop.set()
            player.join()


def test_notes_through_the_computer_come_with_the_latency_that_they_may_have(tmp_path: Path) -> None:
    """Seven seconds of a rig in real time: a clock needs six to be fitted."""
    long_rest = a_programme(Rest(do="rest", seconds=7.5))
    with a_rig(speed=1.0) as port, a_keyboard_at_the_computer() as midi:
        where = Where(port_path=port, out=tmp_path / "r.h5", midi=midi)
        run_survey(where, a_plan("C4", long_rest), silent_talk())
        time.sleep(0.1)
    recording = read_recording(tmp_path / "r.h5")
    told = {entry.kind: entry.text for entry in recording.diary}
    events = recording.keys[0].events

    assert (events.source == HOST_MIDI).sum() > 100
    assert recording.header.run.note_latency_bound_ms is not None
    assert recording.header.run.note_latency_bound_ms > 5.0  # how much more is for the machine of the hour to say
    assert "ppm against this computer's" in told["clock"]
    assert "ms late" in told["midi"]
