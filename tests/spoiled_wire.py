"""A cable that fails on purpose, between the virtual rig and the host: seeded, at random places, in both directions.

How it works: it stands in place of the pseudo-terminal in `rig.virtual.serve.serve`. What the rig sends is cut into
frames at the zero bytes; a fault then takes, bends, cuts, doubles or swaps frames, adds babble, falls silent for a
while, hangs up and comes back under the same name, or restarts the rig. What the host sends is lost now and then.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from rig.virtual.serve import PseudoTerminal
from rig.virtual.virtual_rig import VirtualRig

FRAME_FAULTS = ("lose", "bend", "cut", "double", "swap", "babble")
LINE_FAULTS = ("silence", "unplug", "restart", "deaf")
ALL_FAULTS = FRAME_FAULTS + LINE_FAULTS


class SpoiledWire:
    """A pseudo-terminal behind a name that stays the same (a link), with faults at given frames."""

    def __init__(self, name: Path, faults: dict[int, str], random: np.random.Generator) -> None:
        """faults: which fault befalls the n-th frame that the rig sends."""
        self.path = str(name)
        self._name, self._faults, self._random = name, dict(faults), random
        self._wire: PseudoTerminal | None = None
        self._plug_in()
        self._unfinished, self._ready, self._waiting_for_swap = b"", b"", b""
        self._frames = self._calls = self._silent_for = self._deaf_for = self._unplugged_for = 0
        self.restart_rig: Callable[[], None] = lambda: None
        self.happened: list[str] = []

    def _plug_in(self) -> None:
        self._wire = PseudoTerminal()
        spare = self._name.with_suffix(".new")
        spare.symlink_to(self._wire.path)
        os.replace(spare, self._name)

    def wait(self, seconds: float) -> None:
        """Return when the host has written, or after some seconds."""
        if self._wire is not None:
            self._wire.wait(seconds)

    def read(self) -> bytes:
        """Return what the host has written and the wire has let through."""
        self._calls += 1
        if self._wire is None:
            self._unplugged_for -= 1
            if self._unplugged_for <= 0:
                self._plug_in()
            return b""
        received = self._wire.read()
        if received and self._deaf_for > 0:
            self._deaf_for -= 1
            return b""
        return received

    def write(self, data: bytes) -> int:
        """Take everything; send on what the faults leave of it."""
        *frames, self._unfinished = (self._unfinished + data).split(b"\x00")
        for frame in frames:
            self._frames += 1
            self._ready += self._spoiled(frame + b"\x00", self._faults.pop(self._frames, "none"))
        if self._silent_for > 0:
            self._silent_for -= 1
        elif self._wire is None:
            self._ready = b""
        elif self._ready:
            self._ready = self._ready[self._wire.write(self._ready) :]
        return len(data)

    def _spoiled(self, frame: bytes, fault: str) -> bytes:
        if fault != "none":
            self.happened.append(fault)
        late, self._waiting_for_swap = self._waiting_for_swap, b""
        match fault:
            case "lose":
                return late
            case "bend":
                bent = bytearray(frame)
                bent[self._random.integers(len(frame) - 1)] ^= 1 << int(self._random.integers(8))
                return bytes(bent) + late
            case "cut":
                return frame[: self._random.integers(1, len(frame))] + late
            case "double":
                return frame + frame + late
            case "swap":
                self._waiting_for_swap = frame
                return late
            case "babble":
                return self._random.integers(0, 256, 300, np.uint8).tobytes() + b"\x00" + frame + late
            case _:
                self._line_fault(fault)
                return frame + late

    def _line_fault(self, fault: str) -> None:
        match fault:
            case "silence":
                self._silent_for = 20
            case "deaf":
                self._deaf_for = 3
            case "restart":
                self.restart_rig()
            case "unplug" if self._wire is not None:
                self._wire.close()
                self._wire, self._unplugged_for = None, 100

    def close(self) -> None:
        """Hang up for good."""
        if self._wire is not None:
            self._wire.close()


def random_faults(random: np.random.Generator, *, kinds: tuple[str, ...], count: int, frames: int) -> dict[int, str]:
    """Return some faults at random frames, none before the greeting is over: a port that fails then is a wrong port."""
    places = random.choice(np.arange(20, frames), count, replace=False)
    return {int(place): str(random.choice(kinds)) for place in places}


def spoiled_by(rig: VirtualRig, name: Path, faults: dict[int, str], random: np.random.Generator) -> SpoiledWire:
    """Return a wire that can restart this rig."""
    wire = SpoiledWire(name, faults, random)
    wire.restart_rig = rig.restart
    return wire
