"""Which USB device a port belongs to, so that it is found again when it comes back under another name."""

from __future__ import annotations

from dataclasses import dataclass

from serial.tools.list_ports import comports


@dataclass(frozen=True, slots=True)
class UsbIdentity:
    """What a USB device says of itself; enough to tell two rigs of one kind apart."""

    vendor: int
    product: int
    serial_number: str


def usb_identity(path: str) -> UsbIdentity | None:
    """Return the device behind a port; None: it is not on USB, or the device has no serial number."""
    for port in comports():
        if port.device == path and port.vid is not None and port.pid is not None and port.serial_number:
            return UsbIdentity(port.vid, port.pid, port.serial_number)
    return None


def paths_of(path: str, identity: UsbIdentity | None) -> list[str]:
    """Return where the rig may be now: its old path, and wherever the same device is listed."""
    if identity is None:
        return [path]
    listed = [port.device for port in comports() if usb_identity(port.device) == identity]
    return list(dict.fromkeys([path, *listed]))
