"""Opens a serial port by its path or URL, for one program only.

A path may end in `@` and a baud rate: `/dev/ttyUSB0@115200`.
"""

from __future__ import annotations

import serial

from daq.errors import PortNotFound

READ_WAIT_S = 0.005
DEFAULT_BAUD = 921_600


def open_port(path: str, *, baud: int = DEFAULT_BAUD) -> serial.Serial:
    """Return the open port. path: /dev/tty..., COM3, or a URL (socket://host:port, rfc2217://host:port).

    baud: if the path names none.

    Raises PortNotFound if there is none, it cannot be opened, or another program holds it.
    """
    path, baud = split_baud(path, baud)
    try:
        if "://" in path:
            return serial.serial_for_url(path, baudrate=baud, timeout=READ_WAIT_S)
        return serial.Serial(path, baudrate=baud, timeout=READ_WAIT_S, exclusive=True)
    except (serial.SerialException, OSError, ValueError, TypeError) as fault:  # TypeError: a URL without its port
        raise PortNotFound(path, _why(fault)) from fault


def split_baud(path: str, default: int) -> tuple[str, int]:
    """Return the path itself and its baud rate.

    >>> split_baud("/dev/ttyUSB0@115200", 921600), split_baud("COM3", 921600)
    (('/dev/ttyUSB0', 115200), ('COM3', 921600))
    """
    plain, at, rate = path.rpartition("@")
    return (plain, int(rate)) if at and rate.isdecimal() else (path, default)


def _why(fault: Exception) -> str:
    text = str(getattr(fault, "strerror", None) or fault)
    if "exclusively lock" in text:
        return "another program is using it"
    if isinstance(fault, TypeError) or "not supported between" in text:
        return "a URL reads socket://host:port"
    if "Inappropriate ioctl" in text:
        return "it is no serial port"
    if isinstance(fault, FileNotFoundError) or "No such file" in text:
        return "there is no such port"
    return text
