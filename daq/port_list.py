"""The serial ports of this machine, and whether a rig is at the other end: greeted, never moved."""

from __future__ import annotations

from dataclasses import dataclass

from serial.tools.list_ports import comports

from daq.errors import DaqError
from daq.link import Link
from daq.port import open_port
from daq.session import Session


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
    """Open a port, greet, and close it again. Whatever goes wrong becomes the answer."""
    try:
        with Link(open_port(path), lambda _: None) as link:
            info = Session(link).greet().info
    except DaqError as fault:
        return PortAnswer(path, None, str(fault))
    return PortAnswer(path, f"{info.model} {info.serial_number}, {info.sample_rate_hz:g} samples a second", None)
