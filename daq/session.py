"""A conversation with one rig: greet it, move it, stop it, and know where it is.

How it works: every command is answered by Ack or Nak; a move ends with a Status. Waiting is reckoned in the rig's own
time (its ticks), so a rig played faster or slower needs no other limits; only silence is reckoned in the host's time.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from daq.errors import CommandRefused, RigMisbehaved, RigSilent, StoppedForSafety
from daq.link import Link
from recordings.types import Calibration, LinearScale, RigInfo
from rig.protocol.messages import (
    Ack,
    Axis,
    Cause,
    Channel,
    Greet,
    Hello,
    Message,
    Move,
    Nak,
    Refusal,
    StartStream,
    State,
    Status,
    Stop,
    StopStream,
)
from rig.protocol.table import PROTOCOL_VERSION

SILENT_AFTER_S = 2.0
PATIENCE_US = 5_000_000
"""How much longer than reckoned a move may take, in rig time."""
POLL_S = 0.05
GREETING_TRIES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class RigIntroduction:
    """What the rig says of itself."""

    info: RigInfo
    calibration: Calibration
    has_carriage: bool
    force_range_newton: float
    travel_mm: tuple[float, float]


class Session:
    """One rig at the other end of a link."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._statuses: list[Status] = []

    def greet(self) -> RigIntroduction:
        """Ask the rig who it is. Raises RigSilent if nothing answers, RigMisbehaved if it speaks another version."""
        for attempt in range(GREETING_TRIES):
            sequence = self._link.send(Greet(PROTOCOL_VERSION))
            try:
                return self._introduction(sequence)
            except RigSilent:
                if attempt == GREETING_TRIES - 1:
                    raise
        raise AssertionError("unreachable: the last attempt returns or raises")

    def _introduction(self, sequence: int) -> RigIntroduction:
        hello: Hello | None = None
        channels: dict[str, Channel] = {}
        while True:
            match self._next("its greeting", SILENT_AFTER_S / GREETING_TRIES):
                case Hello() as hello:
                    channels = {}
                case Channel() as channel:
                    channels[channel.name] = channel
                case Ack(number) if number == sequence:
                    return _introduce(hello, channels)

    def start_stream(self) -> None:
        """Have the rig send samples and events."""
        self._command(StartStream())

    def stop_stream(self) -> None:
        """Have the rig send no more samples."""
        self._command(StopStream())

    def move_plunger(
        self, to_mm: float, *, speed_mm_per_s: float, acceleration_mm_per_s2: float, force_limit_newton: float
    ) -> Status:
        """Move the plunger and wait until it stands; the status says where and why.

        force_limit_newton: as the cell shows it, its zero included. Raises StoppedForSafety if a guard stopped it.
        """
        move = Move(
            Axis.PLUNGER,
            round(to_mm * 1000),
            round(speed_mm_per_s * 1000),
            round(acceleration_mm_per_s2 * 1000),
            round(force_limit_newton * 1000),
        )
        return self._move(move, longest_us=round(30.0 / speed_mm_per_s * 1e6))

    def move_carriage(self, station: int) -> Status:
        """Bring the plunger over a key and wait until it stands. station: the key's number."""
        return self._move(Move(Axis.CARRIAGE, station, 0, 0, 0), longest_us=20_000_000)

    def stop(self) -> None:
        """Stop every axis now; may be called at any time, any number of times, and asks for no answer."""
        self._link.send(Stop())

    def rest(self, seconds: float) -> None:
        """Let some rig time pass. Raises RigSilent when the samples stop coming."""
        until_us = self._link.last_tick_us + round(seconds * 1e6)
        while self._link.last_tick_us < until_us:
            self._check_not_silent("samples", SILENT_AFTER_S)
            time.sleep(0.001)

    def _move(self, move: Move, *, longest_us: int) -> Status:
        self._statuses.clear()
        self._command(move)
        give_up_us = self._link.last_tick_us + longest_us + PATIENCE_US
        while True:
            while self._statuses:
                status = self._statuses.pop(0)
                if status.axis == move.axis and status.state != State.MOVING:
                    return _checked(status)
            self._take(self._next("the end of a move", SILENT_AFTER_S, give_up_us=give_up_us))

    def _command(self, command: Message) -> None:
        sequence = self._link.send(command)
        while True:
            match self._next(f"an answer to {type(command).__name__}", SILENT_AFTER_S):
                case Ack(number) if number == sequence:
                    return
                case Nak(number, reason) if number == sequence:
                    raise CommandRefused(str(command), _words(Refusal, reason))
                case other:
                    self._take(other)

    def _take(self, reply: Message) -> None:
        if isinstance(reply, Status):
            self._statuses.append(reply)

    def _next(self, waiting_for: str, silent_after_s: float, *, give_up_us: int | None = None) -> Message:
        started_s = time.monotonic()
        while True:
            reply = self._link.next_reply(POLL_S)
            if reply is not None:
                return reply
            if give_up_us is None and time.monotonic() - started_s > silent_after_s:
                raise RigSilent(waiting_for, silent_after_s)
            if give_up_us is not None and self._link.last_tick_us > give_up_us:
                raise RigMisbehaved(f"{waiting_for} was not reported in time")
            self._check_not_silent(waiting_for, silent_after_s)

    def _check_not_silent(self, waiting_for: str, silent_after_s: float) -> None:
        silent_s = time.monotonic() - self._link.heard_at_s
        if silent_s > silent_after_s:
            raise RigSilent(waiting_for, silent_after_s)


def _checked(status: Status) -> Status:
    if status.cause in (Cause.HOST_SILENT, Cause.TRAVEL_LIMIT, Cause.STOP_COMMAND):
        raise StoppedForSafety(_words(Cause, status.cause))
    return status


def _words(names: type[Cause] | type[Refusal], number: int) -> str:
    try:
        return names(number).name.lower().replace("_", " ")
    except ValueError:
        return f"reason {number}"


def _introduce(hello: Hello | None, channels: dict[str, Channel]) -> RigIntroduction:
    if hello is None:
        raise RigMisbehaved("it did not say Hello when greeted")
    if hello.protocol_version != PROTOCOL_VERSION:
        raise RigMisbehaved(f"it speaks version {hello.protocol_version}, we speak {PROTOCOL_VERSION}")
    missing = {"force", "displacement"} - channels.keys()
    if missing:
        raise RigMisbehaved(f"it has no channel {' and '.join(sorted(missing))}")
    force, displacement = channels["force"], channels["displacement"]
    return RigIntroduction(
        info=RigInfo(
            model=hello.model,
            serial_number=hello.serial_number,
            firmware=hello.firmware,
            sample_rate_hz=hello.sample_rate_mhz / 1000,
        ),
        calibration=Calibration(
            force=_scale(force),
            displacement=_scale(displacement),
            compliance_mm_per_newton=hello.compliance_nm_per_newton * 1e-6,
            force_delay_us=force.delay_us - displacement.delay_us,
        ),
        has_carriage=hello.axis_count > Axis.CARRIAGE,
        force_range_newton=force.highest,
        travel_mm=(displacement.lowest, displacement.highest),
    )


def _scale(channel: Channel) -> LinearScale:
    return LinearScale(
        counts_per_unit=channel.counts_per_unit,
        zero_counts=channel.zero_counts,
        unit=channel.unit,
        calibrated_on=None,
        reference="stated by the rig",
    )
