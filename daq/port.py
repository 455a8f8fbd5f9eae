"""Opens a serial port by its path or URL, for one program only."""

from __future__ import annotations

import serial

from daq.errors import PortNotFound

READ_WAIT_S = 0.005
DEFAULT_BAUD = 921_600


def open_port(path: str, *, baud: int = DEFAULT_BAUD) -> serial.Serial:
    """Return the open port. path: /dev/tty..., COM3, or a URL (socket://host:port, rfc2217://host:port).

    Raises PortNotFound if there is none, it cannot be opened, or another program holds it.
    """
    try:
        if "://" in path:
            return serial.serial_for_url(path, baudrate=baud, timeout=READ_WAIT_S)
        return serial.Serial(path, baudrate=baud, timeout=READ_WAIT_S, exclusive=True)
    except (serial.SerialException, OSError, ValueError) as fault:
        raise PortNotFound(path, _why(fault)) from fault


def _why(fault: Exception) -> str:
    text = str(getattr(fault, "strerror", None) or fault)
    if "exclusively lock" in text:
        return "another program is using it"
    if "Inappropriate ioctl" in text:
        return "it is no serial port"
    if isinstance(fault, FileNotFoundError) or "No such file" in text:
        return "there is no such port"
    return text
