"""Puts the virtual rig behind a pseudo-terminal or a TCP port. The only module of the virtual rig with a clock.

How it works: one loop reads what the host wrote, tells the rig how late it is (real time times `speed`) and writes what
the rig says. Rig time never jumps: it moves in short steps, waits while the host does not read, and simply falls
behind when the machine cannot simulate that fast. So a faster `speed` than the machine has is safe.
"""

from __future__ import annotations

import os
import select
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

LONGEST_STEP_US = 50_000
MOST_UNREAD_BYTES = 64 * 1024
IDLE_WAIT_US = 20_000
"""In rig time: what an idle loop lets pass before it looks again, a block of samples at most."""


class Wire(Protocol):
    """The rig's end of a cable: never blocks."""

    def wait(self, seconds: float) -> None:
        """Return when something can be read, or after some seconds."""

    def read(self) -> bytes:
        """Return what the host has written, b"" if nothing."""

    def write(self, data: bytes) -> int:
        """Write what fits now and return how much that was."""


class Rig(Protocol):
    """What is served: bytes in, bytes out, time told to it."""

    def receive(self, received: bytes, now_us: int) -> bytes:
        """Let time pass up to now_us, take what the host has said, and return what the rig says."""


class PseudoTerminal:
    """A new pseudo-terminal; `path` is what the host opens like any serial port. POSIX systems only."""

    def __init__(self) -> None:
        import tty

        self._master, self._slave = os.openpty()  # our own slave stays open: a host may come and go
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)

    def wait(self, seconds: float) -> None:
        """Return when the host has written, or after some seconds."""
        select.select([self._master], [], [], seconds)

    def read(self) -> bytes:
        """Return what the host has written."""
        try:
            return os.read(self._master, 65536)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> int:
        """Write what fits."""
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0

    def close(self) -> None:
        """Hang up."""
        os.close(self._master)
        os.close(self._slave)


class TcpPort:
    """A TCP port on this machine for one host at a time; `path` is the URL that the host opens."""

    def __init__(self, port: int = 0) -> None:
        self._listener = socket.create_server(("127.0.0.1", port))
        self._listener.setblocking(False)
        self._host: socket.socket | None = None
        self.path = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def wait(self, seconds: float) -> None:
        """Return when a host connects or has written, or after some seconds."""
        select.select([self._host or self._listener], [], [], seconds)

    def read(self) -> bytes:
        """Return what the host has written; a host that hangs up makes room for the next."""
        if self._host is None:
            try:
                self._host, _ = self._listener.accept()
            except BlockingIOError:
                return b""
            self._host.setblocking(False)
        try:
            received = self._host.recv(65536)
        except BlockingIOError:
            return b""
        except ConnectionError:
            received = b""
        if not received:
            self._hang_up()
        return received

    def write(self, data: bytes) -> int:
        """Write what fits; without a host everything is lost, as on a loose cable."""
        if self._host is None:
            return len(data)
        try:
            return self._host.send(data)
        except BlockingIOError:
            return 0
        except ConnectionError:
            self._hang_up()
            return len(data)

    def _hang_up(self) -> None:
        if self._host is not None:
            self._host.close()
            self._host = None

    def close(self) -> None:
        """Hang up and close the port."""
        self._hang_up()
        self._listener.close()


@contextmanager
def open_wire(tcp_port: int | None) -> Iterator[PseudoTerminal | TcpPort]:
    """Open a pseudo-terminal, or a TCP port if its number is given (0: any free one), and close it afterwards."""
    wire = PseudoTerminal() if tcp_port is None else TcpPort(tcp_port)
    try:
        yield wire
    finally:
        wire.close()


def serve(
    wire: Wire, rig: Rig, *, speed: float, until: Callable[[], bool], each_turn: Callable[[], None] = lambda: None
) -> None:
    """Let the rig live at `speed` times real time until `until()` says so; `each_turn()` is called between its steps.

    speed: 1 is real time. The rig's watchdog counts rig time, so give a fast rig `watchdog_us` times its speed.
    """
    rig_us, unread, before_s = 0.0, b"", time.monotonic()
    while not until():
        each_turn()
        received = wire.read()
        now_s = time.monotonic()
        step_us, before_s = min((now_s - before_s) * 1e6 * speed, LONGEST_STEP_US), now_s
        if len(unread) < MOST_UNREAD_BYTES:
            rig_us += step_us
            unread += rig.receive(received, int(rig_us))
        elif received:
            unread += rig.receive(received, int(rig_us))
        unread = unread[wire.write(unread) :] if unread else unread
        if not received and step_us < LONGEST_STEP_US:
            wire.wait(min(IDLE_WAIT_US * 1e-6 / speed, 0.005))
