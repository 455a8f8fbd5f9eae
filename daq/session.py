"""A conversation with one rig: greet it, move it, stop it, and know where it is.

How it works: every command is answered by Ack or Nak; if no answer comes the command is sent again under its number,
and the rig does it only once. A move ends with a Status about that command; one that gets lost is asked for. Waiting
is reckoned in the rig's own time (its ticks), so a rig played faster or slower needs no other limits; only silence is
reckoned in the host's time.
"""

from __future__ import annotations

import time

from daq.errors import (
    CommandRefused,
    RigBabbles,
    RigMisbehaved,
    RigRestarted,
    RigSilent,
    StoppedForSafety,
    not_heard,
)
from daq.introduction import RigIntroduction, introduction_of
from daq.link import Link
from rig.protocol.messages import (
    Ack,
    Ask,
    Axis,
    Cause,
    Channel,
    Cue,
    Greet,
    Hello,
    Home,
    Message,
    Move,
    Nak,
    Refusal,
    StartStream,
    State,
    Status,
    Stop,
    StopStream,
    Swing,
)
from rig.protocol.table import PROTOCOL_VERSION

SILENT_AFTER_S = 2.0
ANSWER_WITHIN_S = 0.25
"""After this a command is sent again."""
ASK_EVERY_S = 0.5
PATIENCE_US = 5_000_000
"""How much longer than reckoned a move may take, in rig time."""
POLL_S = 0.05
GREETING_TRIES = 3
STOP_TRIES = 4
ASK_TRIES = 5


class Session:
    """One rig at the other end of a link."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._greeted = False
        self._statuses: list[Status] = []

    def greet(self) -> RigIntroduction:
        """Ask the rig who it is.

        Raises RigSilent if nothing answers, RigBabbles if what comes makes no sense, RigMisbehaved if it speaks
        another version.
        """
        for attempt in range(1, GREETING_TRIES + 1):
            try:
                introduction = self._introduction(self._link.send(Greet(PROTOCOL_VERSION)))
            except (RigSilent, RigBabbles):
                if attempt == GREETING_TRIES:
                    raise
                continue
            if introduction is not None:
                self._greeted = True
                return introduction
        raise RigMisbehaved("it does not say all of its Hello and its channels when greeted")

    def _introduction(self, sequence: int) -> RigIntroduction | None:
        """Return what the rig says of itself, None if a part of it was lost on the way."""
        hello: Hello | None = None
        channels: dict[str, Channel] = {}
        give_up_s = time.monotonic() + SILENT_AFTER_S / GREETING_TRIES
        while True:
            match self._next("its greeting", give_up_s):
                case Hello() as hello:
                    channels = {}
                    if hello.protocol_version != PROTOCOL_VERSION:
                        raise RigMisbehaved(f"it speaks version {hello.protocol_version}, we speak {PROTOCOL_VERSION}")
                case Channel() as channel:
                    channels[channel.name] = channel
                case Ack(number) if number == sequence:
                    whole = hello is not None and len(channels) == hello.channel_count
                    return introduction_of(hello, channels) if hello is not None and whole else None

    def start_stream(self) -> None:
        """Have the rig send samples and events."""
        self._command(StartStream())

    def stop_stream(self) -> None:
        """Have the rig send no more samples; what was lost at the very end is known afterwards."""
        self._command(StopStream())

    def home(self) -> Status:
        """Bring the plunger to its top switch. Needed once before any other move."""
        return self._move(Home(), Axis.PLUNGER, longest_us=20_000_000)

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
        return self._move(move, Axis.PLUNGER, longest_us=round(30.0 / speed_mm_per_s * 1e6))

    def swing_plunger(
        self,
        top_mm: float,
        bottom_mm: float,
        count: int,
        *,
        speed_mm_per_s: float,
        acceleration_mm_per_s2: float,
        force_limit_newton: float,
    ) -> Status:
        """Press down to `bottom_mm` and back up to `top_mm`, `count` times, in the rig's own rhythm."""
        swing = Swing(
            round(top_mm * 1000),
            round(bottom_mm * 1000),
            count,
            round(speed_mm_per_s * 1000),
            round(acceleration_mm_per_s2 * 1000),
            round(force_limit_newton * 1000),
        )
        return self._move(swing, Axis.PLUNGER, longest_us=round(2 * count * 30.0 / speed_mm_per_s * 1e6))

    def move_carriage(self, station: int) -> Status:
        """Bring the plunger over a key and wait until it stands. station: the key's number."""
        return self._move(Move(Axis.CARRIAGE, station, 0, 0, 0), Axis.CARRIAGE, longest_us=20_000_000)

    def cue(self, station: int, *, good: int, wanted: int, verdict: int) -> None:
        """Show a person at the rig what to do next."""
        self._command(Cue(station, min(good, 255), min(wanted, 255), verdict))

    def stop(self) -> None:
        """Stop every axis now; may be called at any time, any number of times.

        Said again until it is answered; a rig that does not answer stops by its own watchdog. Raises PortLost.
        """
        sequence = self._link.next_sequence()
        for _ in range(STOP_TRIES):
            self._link.send(Stop(), sequence)
            until_s = time.monotonic() + ANSWER_WITHIN_S
            while (left_s := until_s - time.monotonic()) > 0:
                if self._link.next_reply(left_s) == Ack(sequence):
                    return

    def stand_still(self) -> None:
        """Stop, and wait until both axes stand: after a greeting the rig may still be at an earlier host's move."""
        self.stop()
        give_up_s = time.monotonic() + SILENT_AFTER_S
        for axis in Axis:
            while self._ask(axis).state == State.MOVING:
                if time.monotonic() > give_up_s:
                    raise RigMisbehaved("it goes on moving after Stop")

    def _ask(self, axis: Axis) -> Status:
        """Return what an axis does now; a Status that is lost on the way is asked for again."""
        for _ in range(ASK_TRIES):
            self._command(Ask(axis))
            about = [status for status in self._statuses if status.axis == axis]
            if about:
                return about[-1]
        raise self._silent("where an axis is")

    def stop_now(self) -> None:
        """Say Stop once and wait for nothing: for the thread that reads. Raises PortLost."""
        self._link.send(Stop())

    def rest(self, seconds: float) -> None:
        """Let some rig time pass. Raises RigSilent when the samples stop coming."""
        until_us = self._link.last_tick_us + round(seconds * 1e6)
        while self._link.last_tick_us < until_us:
            self.attend(0.001)

    def attend(self, seconds: float) -> None:
        """Let some of the host's time pass, or less if the rig says something. Raises as `rest`, and RigRestarted."""
        reply = self._link.next_reply(seconds)
        if reply is not None:
            self._take(reply)
        self._check_not_silent("samples")

    def _move(self, move: Move | Home | Swing, axis: Axis, *, longest_us: int) -> Status:
        self._statuses.clear()
        sequence = self._command(move)
        give_up_us = self._link.last_tick_us + longest_us + PATIENCE_US
        ask_at_s = time.monotonic() + ASK_EVERY_S
        while True:
            while self._statuses:
                status = self._statuses.pop(0)
                if status.command == sequence and status.axis == axis and status.state != State.MOVING:
                    return _checked(status)
            reply = self._link.next_reply(POLL_S)
            if reply is not None:
                self._take(reply)
                continue
            overdue = self._link.last_tick_us > give_up_us
            if overdue or time.monotonic() > ask_at_s:
                ask_at_s = time.monotonic() + ASK_EVERY_S
                if self._ask(axis).state == State.MOVING and overdue:
                    raise RigMisbehaved("a move takes far longer than its way and speed can explain")
            self._check_not_silent("the end of a move")

    def _command(self, command: Message) -> int:
        """Send a command until it is answered, and return its number."""
        sequence = self._link.next_sequence()
        name = type(command).__name__
        give_up_s = time.monotonic() + SILENT_AFTER_S
        while time.monotonic() < give_up_s:
            self._link.send(command, sequence)
            again_s = time.monotonic() + ANSWER_WITHIN_S
            while (left_s := again_s - time.monotonic()) > 0:
                match self._link.next_reply(left_s):
                    case Ack(number) if number == sequence:
                        return sequence
                    case Nak(number, reason) if number == sequence and reason != Refusal.NOT_GREETED:
                        raise CommandRefused(str(command), _words(Refusal, reason))
                    case None:
                        break
                    case other:
                        self._take(other)
        raise self._silent(f"an answer to {name}")

    def _take(self, reply: Message) -> None:
        if isinstance(reply, Status):
            self._statuses.append(reply)
        unasked_hello = isinstance(reply, Hello)
        if self._greeted and (unasked_hello or (isinstance(reply, Nak) and reply.reason == Refusal.NOT_GREETED)):
            raise RigRestarted

    def _next(self, waiting_for: str, give_up_s: float) -> Message:
        """Return the next reply. Raises RigSilent or RigBabbles when the host's clock shows give_up_s."""
        while (left_s := give_up_s - time.monotonic()) > 0:
            reply = self._link.next_reply(left_s)
            if reply is not None:
                return reply
        raise self._silent(waiting_for)

    def _check_not_silent(self, waiting_for: str) -> None:
        self._link.check()
        if time.monotonic() - self._link.heard_at_s > SILENT_AFTER_S:
            raise self._silent(waiting_for)

    def _silent(self, waiting_for: str) -> RigSilent | RigBabbles:
        return not_heard(waiting_for, SILENT_AFTER_S, self._link.bytes_without_sense)


def _checked(status: Status) -> Status:
    if status.cause not in (Cause.TARGET_REACHED, Cause.FORCE_LIMIT):
        raise StoppedForSafety(_words(Cause, status.cause))
    return status


def _words(names: type[Cause] | type[Refusal], number: int) -> str:
    try:
        return names(number).name.lower().replace("_", " ")
    except ValueError:
        return f"reason {number}"
