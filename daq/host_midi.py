"""A MIDI port at the host: the second choice, for notes that do not reach the rig's own MIDI input.

How it works: a thread asks the port every POLL_S for messages, looks at the host's clock as each arrives, and turns
that time into the rig's ticks by the fit of the moment; what comes before there is a fit waits for it. Such a stamp is
never early but for the fit's own error, and late by at most the wire, the poll and the host's own lateness: the sum is
the latency bound, which the recording carries and which widens the uncertainty of every note's place.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from urllib.parse import urlsplit

import mido
import numpy as np
from mido.ports import BaseInput
from mido.sockets import SocketPort

from daq.clock_fit import ClockFit, ClockWatch
from daq.errors import MidiPortNotFound
from recordings.types import HOST_MIDI, Damage, RawEvents

POLL_S = 0.001
NOTE_WIRE_S = 3 * 10 / 31_250
"""A note message is three bytes of ten bits at 31250 Bd (MIDI 1.0), and is told when the last of them has come."""
CONNECT_WAIT_S = 5.0

EventSink = Callable[[RawEvents | Damage], None]


class TcpPort(SocketPort):  # type: ignore[misc]  # mido ships no types
    """mido's socket port, which closes for good: mido leaves two file views open, and they keep the socket."""

    def _close(self) -> None:
        for part in (self._rfile, self._wfile, self._socket):
            part.close()


def open_midi(name: str) -> BaseInput:
    """Return the open port. name: `tcp://host:port` for a port server of mido, otherwise a port's name as listed.

    Raises MidiPortNotFound, which names the ports there are, if it cannot be opened or the backend is not installed.
    """
    if name.startswith("tcp://"):
        return _connect(name)
    try:
        return mido.open_input(name)
    except ModuleNotFoundError as fault:
        why = "what talks to MIDI ports is not installed: pip install 'keyplumb[midi]'"
        raise MidiPortNotFound(name, why, ()) from fault
    except OSError as fault:  # mido's own, and those of rtmidi, which has a SystemError for a system without MIDI
        raise MidiPortNotFound(name, str(fault), _port_names()) from fault


def _connect(name: str) -> BaseInput:
    try:
        place = urlsplit(name)
        if not place.hostname or not place.port:
            raise MidiPortNotFound(name, "it must read tcp://host:port", ())
        wire = socket.create_connection((place.hostname, place.port), timeout=CONNECT_WAIT_S)
    except (OSError, ValueError) as fault:
        if isinstance(fault, MidiPortNotFound):
            raise
        raise MidiPortNotFound(name, str(getattr(fault, "strerror", None) or fault), ()) from fault
    wire.settimeout(None)
    return TcpPort(place.hostname, place.port, conn=wire)


def _port_names() -> tuple[str, ...]:
    try:
        return tuple(mido.get_input_names())
    except OSError:  # no MIDI on this system: the first error says so
        return ()


class HostMidi:
    """Listens to an open MIDI port until it is closed; `close` it, or use it in a `with` block."""

    def __init__(
        self, port: BaseInput, sink: EventSink, clock: ClockWatch, *, now_s: Callable[[], float] = time.monotonic
    ) -> None:
        """sink: given the stamped bytes, in the listener's thread; port: closed with this; now_s: the clock's own."""
        self._port, self._sink, self._clock, self._now_s = port, sink, clock, now_s
        self._waiting: list[tuple[float, list[int]]] = []
        self._largest_bound_s: float | None = None
        self._closing = threading.Event()
        self._listener = threading.Thread(target=self._listen, name="host midi", daemon=True)
        self._listener.start()

    def __enter__(self) -> HostMidi:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def latency_bound_ms(self) -> float | None:
        """How late a stamp may be, in ms of rig time: the largest over all fits used; None: there is no fit yet.

        It holds for 99 % of messages, as the host's lateness is a 99th percentile. It does not hold what passes in the
        instrument itself between contact and message.
        """
        fit, largest_s = self._clock.fit(), self._largest_bound_s
        if fit is not None:
            largest_s = max(largest_s or 0.0, _bound_s(fit))
        return None if largest_s is None else largest_s * 1e3

    def close(self) -> None:
        """Take what has arrived, listen no more, and close the port; harmless if already closed."""
        self._closing.set()
        self._listener.join()
        self._port.close()

    def _listen(self) -> None:
        lost = None
        while lost is None and not self._closing.wait(POLL_S):
            lost = self._poll()
        if lost is None:
            lost = self._poll()  # what came while it was told to close
        if lost is not None and not self._closing.is_set():
            self._sink(Damage(self._tick_us(), "midi_port_lost", 1, lost))
        if self._waiting:
            self._sink(
                Damage(0, "midi_without_clock", len(self._waiting), "no ticks came to stamp these messages with")
            )

    def _poll(self) -> str | None:
        """Take and pass on what has arrived; return why the port is gone, None if it is not."""
        try:
            for message in self._port.iter_pending():
                if not message.is_realtime:  # clock and active sensing tell nothing of notes and would fill the file
                    self._waiting.append((self._now_s(), message.bytes()))
        except OSError as fault:
            return str(fault)
        finally:
            self._pass_on()
        return "the other end has closed it" if self._port.closed else None

    def _pass_on(self) -> None:
        fit = self._clock.fit() if self._waiting else None
        if fit is None:
            return
        rows = [(fit.tick_us_at(heard_s), byte) for heard_s, message in self._waiting for byte in message]
        self._waiting = []
        self._largest_bound_s = max(self._largest_bound_s or 0.0, _bound_s(fit))
        ticks, received = zip(*rows, strict=True)
        source = np.full(len(rows), HOST_MIDI, np.uint8)
        self._sink(RawEvents(np.array(ticks, np.int64), source, np.array(received, np.uint8)))

    def _tick_us(self) -> int:
        fit = self._clock.fit()
        return fit.tick_us_at(self._now_s()) if fit else 0


def _bound_s(fit: ClockFit) -> float:
    """Return the latency bound in seconds of the rig's time."""
    return (fit.lateness_bound_s + POLL_S + NOTE_WIRE_S) * fit.rate
