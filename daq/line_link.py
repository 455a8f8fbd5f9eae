"""The host's end of a rig that only prints lines: one thread that reads, decodes and passes on what it hears.

How it works: like `link.py`, but nothing is ever said to the rig and there are no replies to wait for. What stops the
reader (a port that is gone, a sink that cannot write) is kept for the side that waits, which asks with `check`.
"""

from __future__ import annotations

import threading
import time
from math import inf

import serial

from daq.errors import PortLost
from daq.link import Sink
from daq.session import RigIntroduction
from recordings.types import Calibration, Damage, LinearScale, RawEvents, RawTrace, RigInfo
from rig.profiles.line_items import DamagedLine, LineEdges, LineItem, LineSamples, LostLines
from rig.profiles.lines import LineDecoder
from rig.profiles.profile import Profile

READ_BYTES = 4096
"""More than comes within the port's timeout: what comes in that time is passed on together."""


class LineLink:
    """An open cable to a rig that prints lines. `close` it, or use it in a `with` block.

    The sink is called in the reader's thread, and once more in that of `close` with the line that was held back.
    """

    def __init__(self, port: serial.Serial, sink: Sink, profile: Profile) -> None:
        self._port, self._sink = port, sink
        self._decoder = LineDecoder(profile)
        self._closing = threading.Event()
        self._trouble: Exception | None = None
        self.last_tick_us = 0
        """The rig's clock at the newest sample."""
        self.heard_at_s = time.monotonic()
        """The host's clock when bytes last arrived."""
        self._reader = threading.Thread(target=self._read, name="line reader", daemon=True)
        self._reader.start()

    def __enter__(self) -> LineLink:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def check(self) -> None:
        """Raise what has stopped the reader: PortLost, or whatever the sink raised. Silence is for `heard_at_s`."""
        if self._trouble is not None:
            raise self._trouble

    def close(self) -> None:
        """Stop reading, pass on the line that was held back and close the port; harmless if already closed."""
        self._closing.set()
        self._reader.join()
        self._port.close()
        if self._trouble is None or isinstance(self._trouble, PortLost):
            self._pass_on(self._decoder.close())

    def _read(self) -> None:
        while not self._closing.is_set():
            try:
                received = self._port.read(READ_BYTES)
            except (serial.SerialException, OSError, TypeError) as fault:  # TypeError: closed while reading
                self._trouble = PortLost(str(fault))
                return
            if received:
                self.heard_at_s = time.monotonic()
                try:
                    self._pass_on(self._decoder.feed(received))
                except Exception as fault:  # whatever it is, the waiting side must hear of it, not a dying thread
                    self._trouble = fault
                    return

    def _pass_on(self, items: list[LineItem]) -> None:
        for item in items:
            match item:
                case LineSamples():
                    self.last_tick_us = int(item.tick_us[-1])
                    self._sink(RawTrace(item.sample_number, item.tick_us, item.force_counts, item.displacement_counts))
                case LineEdges():
                    self._sink(RawEvents(item.tick_us, item.source, item.byte))
                case DamagedLine():
                    self._sink(Damage(self.last_tick_us, "damaged_bytes", item.length, item.reason))
                case LostLines():
                    self._sink(Damage(item.tick_us, "lost_samples", item.count, item.reason))


def introduce(profile: Profile) -> RigIntroduction:
    """Return what a profile says of its rig. Ends of the sensors that it does not state are infinite."""
    force, displacement = profile.force, profile.displacement
    return RigIntroduction(
        info=RigInfo(
            model=profile.model, serial_number=profile.serial_number, firmware=None, sample_rate_hz=profile.rate_hz
        ),
        calibration=Calibration(
            force=_scale(force.kept_per_newton_or_mm, force.zero_counts, "N", profile),
            displacement=_scale(displacement.kept_per_newton_or_mm, displacement.zero_counts, "mm", profile),
            compliance_mm_per_newton=profile.compliance_mm_per_newton,
            force_delay_us=force.delay_us,
        ),
        has_carriage=False,
        force_range_newton=inf if force.range_newton is None else force.range_newton,
        travel_mm=displacement.travel_mm or (-inf, inf),
    )


def _scale(counts_per_unit: float, zero_counts: int, unit: str, profile: Profile) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit,
        zero_counts=zero_counts,
        unit=unit,
        calibrated_on=None,
        reference=f"stated by the profile {profile.name}",
    )
