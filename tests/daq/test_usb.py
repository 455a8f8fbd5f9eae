"""A rig on USB is found again under another name, and not mistaken for its twin."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from daq.usb import UsbIdentity, paths_of, usb_identity

OURS = UsbIdentity(0x1209, 0x0001, "A1")


def listed(monkeypatch: pytest.MonkeyPatch, *ports: tuple[str, str | None]) -> None:
    def comports() -> list[SimpleNamespace]:
        return [SimpleNamespace(device=path, vid=0x1209, pid=0x0001, serial_number=number) for path, number in ports]

    monkeypatch.setattr("daq.usb.comports", comports)


def test_a_rig_that_came_back_under_another_name_is_looked_for_there_too(monkeypatch: pytest.MonkeyPatch) -> None:
    listed(monkeypatch, ("/dev/ttyACM0", "A1"))
    identity = usb_identity("/dev/ttyACM0@115200")
    listed(monkeypatch, ("/dev/ttyACM0", "B2"), ("/dev/ttyACM3", "A1"))

    assert identity == OURS
    assert paths_of("/dev/ttyACM0@115200", identity) == ["/dev/ttyACM0@115200", "/dev/ttyACM3@115200"]


@pytest.mark.parametrize("path", ["/dev/pts/4", "socket://127.0.0.1:4000", "COM9"])
def test_what_is_not_on_usb_is_looked_for_where_it_was(path: str, monkeypatch: pytest.MonkeyPatch) -> None:
    listed(monkeypatch, ("/dev/ttyACM0", "A1"))

    assert usb_identity(path) is None
    assert paths_of(path, None) == [path]


def test_a_device_without_a_serial_number_has_no_identity(monkeypatch: pytest.MonkeyPatch) -> None:
    listed(monkeypatch, ("/dev/ttyACM0", None))

    assert usb_identity("/dev/ttyACM0") is None
