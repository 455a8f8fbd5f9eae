"""The serial ports of this machine, and whether a rig is at the other end: greeted, never moved."""

from __future__ import annotations

import re
import time
from dataclasses import dataclass

import serial
from serial.tools.list_ports import comports

from daq.errors import DaqError, RigBabbles, RigSilent
from daq.link import Link
from daq.port import DEFAULT_BAUD, open_port
from daq.session import Session

LISTEN_S = 0.5
"""How long a port without an answer is listened to: five lines of a rig that prints ten a second."""
LINE_BAUDS = (DEFAULT_BAUD, 115_200, 9600, 57_600, 230_400)
"""Tried in turn, as long as something is heard that is no text. Common practice of small boards, from memory."""
A_LINE = re.compile(rb"[\r\n]([\x20-\x7e\t]*[0-9][\x20-\x7e\t]*)(?=[\r\n])")
SHOWN = 60
"""So much of a line is quoted."""


@dataclass(frozen=True, slots=True)
class PortAnswer:
    """What a port said when it was greeted."""

    path: str
    rig: str | None
    """Model and serial number; None: no rig answered."""
    why_not: str | None


def listed_ports() -> list[str]:
    """Return the paths of all serial ports that the operating system lists."""
    return sorted(port.device for port in comports())


def ask_port(path: str) -> PortAnswer:
    """Open a port, greet, and close it again. Whatever goes wrong becomes the answer.

    A port that does not answer is listened to for a while: it may be a rig that only prints lines.
    """
    try:
        with Link(open_port(path), lambda _: None) as link:
            info = Session(link).greet().info
    except (RigSilent, RigBabbles) as fault:
        return PortAnswer(path, None, _lines_at(path) or str(fault))
    except DaqError as fault:
        return PortAnswer(path, None, str(fault))
    return PortAnswer(path, f"{info.model} {info.serial_number}, {info.sample_rate_hz:g} samples a second", None)


def _lines_at(path: str) -> str | None:
    """Say which lines a port prints; None if it prints none."""
    try:
        for baud in LINE_BAUDS:
            received = _listen(path, baud)
            if not received:  # at a wrong baud rate there is something too, only no text
                return None
            line = line_of_text(received)
            if line is not None:
                return f"prints lines of text at {baud} Bd, e.g. {line[:SHOWN]!r}; use --profile"
    except (DaqError, serial.SerialException, OSError):  # gone meanwhile: the silence is the answer
        return None
    return None


def _listen(path: str, baud: int) -> bytes:
    received, until_s = b"", time.monotonic() + LISTEN_S
    with open_port(path, baud=baud) as port:
        while time.monotonic() < until_s and line_of_text(received) is None:
            received += port.read(256)
    return received


def line_of_text(received: bytes) -> str | None:
    """Return the last whole line of received bytes if it is text with a number in it and all before it is text, too.

    >>> line_of_text(b"2.5\\r\\n1001,2.5\\r\\n10")
    '1001,2.5'
    """
    text = received.replace(b"\r\n", b"\n")
    whole = A_LINE.findall(text)
    if not whole or re.search(rb"[^\x20-\x7e\t\r\n]", text):
        return None
    return str(whole[-1].decode("ascii"))
