"""The host's end of a rig that only prints lines: one thread that reads, decodes and passes on what it hears.

How it works: like `link.py`, but nothing is ever said to the rig and there are no replies to wait for. What stops the
reader (a port that is gone, a sink that cannot write) is kept for the side that waits, which asks with `check`. Damaged
lines are told together until a good one comes or a second has passed: babble must not fill the disk.
"""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from math import inf

import serial

from daq.errors import PortLost
from daq.introduction import RigIntroduction
from daq.link import PORT_TROUBLE, TELL_DAMAGE_EVERY_S, Sink
from recordings.types import Calibration, Damage, LinearScale, RawEvents, RawTrace, RigInfo
from rig.profiles.line_items import DamagedLine, LineEdges, LineItem, LineSamples, LostLines, RigAnew
from rig.profiles.lines import LineDecoder
from rig.profiles.profile import Profile

READ_BYTES = 4096
"""More than comes within the port's timeout: what comes in that time is passed on together."""


class LineLink:
    """An open cable to a rig that prints lines. `close` it, or use it in a `with` block.

    The sink is called in the reader's thread, and once more in that of `close` with the line that was held back.
    """

    def __init__(self, port: serial.Serial, sink: Sink, profile: Profile, decoder: LineDecoder | None = None) -> None:
        """decoder: that of an earlier link to the same rig, so that numbers and time go on and the gap is counted."""
        self._port, self._sink = port, sink
        self._sees_losses = profile.shows_losses
        self.decoder = decoder or LineDecoder(profile)
        """For the link that follows when the cable was pulled."""
        self.decoder.reopen()
        self._closing = threading.Event()
        self._failure: Exception | None = None
        self._damage: dict[str, Damage] = {}
        self._damaged_since_s = 0.0
        self.last_tick_us = 0
        """The rig's clock at the newest sample."""
        self.heard_at_s = time.monotonic()
        """The host's clock when samples last came."""
        self.bytes_without_sense = 0
        """Received since then."""
        self._reader = threading.Thread(target=self._read, name="line reader", daemon=True)
        self._reader.start()

    def __enter__(self) -> LineLink:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def check(self) -> None:
        """Raise what has ended the reader: PortLost, or what the sink has raised. Silence is for `heard_at_s`."""
        if self._failure is not None:
            raise self._failure

    def close(self) -> None:
        """Stop reading, pass on the line that was held back and close the port; harmless if already closed."""
        self._closing.set()
        self._reader.join()
        self._port.close()
        if self._failure is None or isinstance(self._failure, PortLost):
            self._pass_on(self.decoder.close())
            self._tell_damage()

    def _read(self) -> None:
        try:
            while not self._closing.is_set():
                received = self._receive()
                self.bytes_without_sense += len(received)
                self._pass_on(self.decoder.feed(received))
        except Exception as failure:  # whatever it is, whoever waits for the rig must hear it
            self._failure = failure

    def _receive(self) -> bytes:
        try:
            return self._port.read(READ_BYTES)
        except PORT_TROUBLE as fault:
            raise PortLost(str(fault)) from fault

    def _pass_on(self, items: list[LineItem]) -> None:
        for item in items:
            match item:
                case DamagedLine(length, reason):
                    self._put_off(Damage(self.last_tick_us, "damaged_bytes", length, reason))
                case LostLines(tick_us, count, reason) if not self._sees_losses:  # one for each damaged line
                    self._put_off(Damage(tick_us, "lost_samples", count, reason))
                case _:
                    self._tell_damage()
                    self._sink(self._news(item))
        if self._damage and time.monotonic() - self._damaged_since_s > TELL_DAMAGE_EVERY_S:
            self._tell_damage()

    def _news(self, item: LineSamples | LineEdges | LostLines | RigAnew) -> RawTrace | RawEvents | Damage:
        match item:
            case LineSamples():
                self.last_tick_us = int(item.tick_us[-1])
                self.heard_at_s, self.bytes_without_sense = time.monotonic(), 0
                return RawTrace(item.sample_number, item.tick_us, item.force_counts, item.displacement_counts)
            case LineEdges():
                return RawEvents(item.tick_us, item.source, item.byte)
            case LostLines():
                return Damage(item.tick_us, "lost_samples", item.count, item.reason)
            case RigAnew():
                return Damage(item.tick_us, "rig_restarted", 1, item.reason)

    def _put_off(self, damage: Damage) -> None:
        if not self._damage:
            self._damaged_since_s = time.monotonic()
        earlier = self._damage.get(damage.kind)
        self._damage[damage.kind] = replace(earlier, amount=earlier.amount + damage.amount) if earlier else damage

    def _tell_damage(self) -> None:
        damage, self._damage = self._damage, {}
        for told in damage.values():
            self._sink(told)


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
        has_motor=False,
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
