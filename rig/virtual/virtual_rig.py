"""The firmware of the virtual rig: bytes in, bytes out, time told to it. It never sleeps and reads no clock.

How it works: `advance` lets the bench run up to the time it is told and returns the frames that fall due; `receive`
does the same and then obeys what the host has said. A command that comes twice is done once and answered twice, so a
host may repeat itself when an answer is lost. The watchdog stops the plunger when the host falls silent. `restart`
is what a brown-out does: the program begins anew, only its counters live on (kept memory); the clock starts at 0.

Not simulated: USB latency and lost bytes (the faults of the link are the tests' business), the finger or mass of the
plunger tip itself, temperature, a carriage that misses its station, anything between keys. See also `key_action.py`.
"""

from __future__ import annotations

from rig.protocol.frames import Frame, FrameDecoder, encode_frame
from rig.protocol.messages import (
    Ack,
    Ask,
    Axis,
    Cause,
    Cue,
    EventBlock,
    Greet,
    Heartbeat,
    Home,
    Message,
    Move,
    Nak,
    Refusal,
    SampleBlock,
    StartStream,
    State,
    Status,
    Stop,
    StopStream,
    StreamEnd,
    Swing,
)
from rig.virtual.cue_follower import CueFollower
from rig.virtual.introduction import RigSpec, channels_of, hello_of, is_within_reach
from rig.virtual.reference_bench import make_bench
from rig.virtual.scenario import KeySpec
from rig.virtual.workbench import Workbench
from rig.virtual.workbench_file import WorkbenchSpec

__all__ = ["RigSpec", "VirtualRig"]

BLOCK = 50
"""Samples in a block."""
CARRIAGE_US_PER_STATION, CARRIAGE_US = 60_000, 300_000
HOME_MM_PER_S, HOME_MM_PER_S2 = 10.0, 200.0
CARRIAGE_FREE_MM = 0.5
"""The carriage moves only while the plunger is this near the top: lower down it would shear the keys."""


class VirtualRig:
    """A rig with a keyboard under it."""

    def __init__(
        self,
        keys: tuple[KeySpec, ...],
        spec: RigSpec | None = None,
        person: CueFollower | None = None,
        workbench: WorkbenchSpec | None = None,
    ) -> None:
        """person: presses instead of a motor; the rig then has no axis. workbench: what stands beside the keyboard."""
        self.spec = spec or RigSpec()
        self.bench = make_bench(self.spec.bench, keys, person, workbench)
        self.workbench = Workbench.of(self.bench)
        """Its operator; None: there are no reference objects."""
        self._person = person
        self._sample_number = self._event_number = self._start_count = 0
        self._told_us = self._started_us = 0
        self.last_cue: Cue | None = None
        """What stands on the rig's lamps."""
        self._out = bytearray()
        self._begin()

    def _begin(self) -> None:
        """Start the program: everything is forgotten but what kept memory holds."""
        self._start_count += 1
        self._decoder, self._sequence = FrameDecoder(), 0
        self._now_us = self._heard_us = 0
        self._greeted = self._streaming = self._homed = False
        self._carriage_arrives_us: int | None = None
        self._carriage_target = self.bench.station
        self._answered: tuple[int, Message] | None = None
        self._axis_state = {Axis.PLUNGER: (State.IDLE, Cause.NONE), Axis.CARRIAGE: (State.IDLE, Cause.NONE)}
        self._axis_command = {Axis.PLUNGER: 0, Axis.CARRIAGE: 0}
        self._homing = False
        self._swing: Swing | None = None
        self._legs_left = 0

    def restart(self) -> None:
        """Do what a brown-out does: what was not sent yet is gone, the motor stands, the clock begins at 0."""
        self._started_us = self._told_us
        self.bench.cut_power()
        self._out.clear()
        self._begin()
        self._say_hello()

    @property
    def samples_numbered(self) -> int:
        """How many samples the rig has numbered for its stream since it was made: what "sent" means."""
        return self._sample_number

    def advance(self, now_us: int) -> bytes:
        """Let time pass up to now_us and return what the rig sends in it. Time told must not go back."""
        self._told_us = now_us
        period = self.bench.sample_period_us
        while (due := (now_us - self._started_us - self._now_us) // period) > 0:
            self._run(min(due, BLOCK))
        out, self._out = bytes(self._out), bytearray()
        return out

    def receive(self, received: bytes, now_us: int) -> bytes:
        """Let time pass up to now_us, obey the commands in `received`, and return what the rig sends."""
        sent = self.advance(now_us)
        for item in self._decoder.feed(received):
            if isinstance(item, Frame):
                self._heard_us = self._now_us
                self._obey(item)
        out, self._out = bytes(self._out), bytearray()
        return sent + out

    def _say(self, message: Message) -> None:
        self._out += encode_frame(message, self._sequence)
        self._sequence = (self._sequence + 1) & 0xFFFF

    def _run(self, count: int) -> None:
        first_tick_us = self._now_us + self.bench.sample_period_us
        samples = self.bench.make_samples(count, first_tick_us, self._plunger_rests)
        self._now_us += count * self.bench.sample_period_us
        events = self.bench.events_until(self._now_us)
        if self._streaming:
            self._say(SampleBlock(self._sample_number & 0xFFFFFFFF, samples))
            self._sample_number += count
            if len(events):
                self._say(EventBlock(self._event_number & 0xFFFFFFFF, events))
                self._event_number += len(events)
        self._carriage()
        if self.bench.stage.moving and self._now_us - self._heard_us > self.spec.watchdog_us:
            self._halt(Cause.HOST_SILENT)

    def _plunger_rests(self, tick_us: int, cause: Cause) -> None:
        if self._swing is not None and cause in (Cause.TARGET_REACHED, Cause.FORCE_LIMIT) and self._legs_left > 0:
            self._next_leg(self._swing)
            return
        if self._homing and cause is Cause.TARGET_REACHED:
            self._homed = True
        self._homing, self._swing = False, None
        went_well = cause in (Cause.TARGET_REACHED, Cause.FORCE_LIMIT)
        self._axis_state[Axis.PLUNGER] = (State.IDLE if went_well else State.STOPPED, cause)
        self._say_status(tick_us, Axis.PLUNGER)

    def _next_leg(self, swing: Swing) -> None:
        self._legs_left -= 1
        target_um = swing.bottom_um if self._legs_left % 2 else swing.top_um
        self.bench.stage.go(target_um / 1000, swing.speed_um_per_s / 1000, swing.acceleration_um_per_s2 / 1000)

    def _say_status(self, tick_us: int, axis: Axis) -> None:
        position = round(self.bench.stage.screw_mm * 1000) if axis is Axis.PLUNGER else self.bench.station
        self._say(Status(tick_us & 0xFFFFFFFF, axis, *self._axis_state[axis], position, self._axis_command[axis]))

    def _carriage(self) -> None:
        if self._carriage_arrives_us is not None and self._now_us >= self._carriage_arrives_us:
            self._carriage_arrives_us = None
            self.bench.carry_to(self._carriage_target)
            self._axis_state[Axis.CARRIAGE] = (State.IDLE, Cause.TARGET_REACHED)
            self._say_status(self._now_us, Axis.CARRIAGE)

    def _halt(self, cause: Cause) -> None:
        if self._carriage_arrives_us is not None:
            self._carriage_arrives_us = None
            self._axis_state[Axis.CARRIAGE] = (State.STOPPED, cause)
            self._say_status(self._now_us, Axis.CARRIAGE)
        self._legs_left = 0
        self.bench.brake(cause)

    def _obey(self, frame: Frame) -> None:
        if isinstance(frame.message, Heartbeat):
            if not self._greeted:
                self._say(Nak(frame.sequence, Refusal.NOT_GREETED))
            return
        is_greeting = isinstance(frame.message, Greet)  # a new host counts its messages from anywhere
        if self._answered is not None and self._answered[0] == frame.sequence and not is_greeting:
            self._say(self._answered[1])  # the host did not hear it the first time
            return
        refusal = self._do(frame.message, frame.sequence)
        answer = Ack(frame.sequence) if refusal is None else Nak(frame.sequence, refusal)
        self._answered = (frame.sequence, answer)
        self._say(answer)

    def _do(self, command: Message, sequence: int) -> Refusal | None:
        match command:
            case Greet():
                self._greeted = True
                self._introduce()
            case Stop():
                self._halt(Cause.STOP_COMMAND)
            case _ if not self._greeted:
                return Refusal.NOT_GREETED
            case StartStream():
                self._streaming = True
            case StopStream():
                self._streaming = False
                self._say(StreamEnd(self._sample_number & 0xFFFFFFFF, self._event_number & 0xFFFFFFFF))
            case Cue():
                self.last_cue = command
                if self._person is not None:
                    self._person.see(command)
            case Ask(axis):
                return self._tell(axis)
            case Home() | Swing() | Move():
                return self._move(command, sequence)
            case _:
                return Refusal.UNKNOWN_COMMAND
        return None

    def _tell(self, axis: int) -> Refusal | None:
        if axis not in self._axes:
            return Refusal.NO_SUCH_AXIS
        self._say_status(self._now_us, Axis(axis))
        return None

    @property
    def _axes(self) -> tuple[Axis, ...]:
        return () if self._person is not None else tuple(Axis)

    def _move(self, command: Home | Swing | Move, sequence: int) -> Refusal | None:
        axis = command.axis if isinstance(command, Move) else Axis.PLUNGER
        if axis not in self._axes:
            return Refusal.NO_SUCH_AXIS
        if self._carriage_arrives_us is not None or self.bench.stage.moving:
            return Refusal.BUSY
        if not self._homed and not isinstance(command, Home):
            return Refusal.NOT_HOMED
        refusal = self._begin_move(command)
        if refusal is None:
            self._axis_command[Axis(axis)] = sequence
            self._axis_state[Axis(axis)] = (State.MOVING, Cause.NONE)
        return refusal

    def _begin_move(self, command: Home | Swing | Move) -> Refusal | None:
        match command:
            case Home():
                self._begin_home()
                return None
            case Swing():
                return self._begin_swing(command)
            case Move(axis=Axis.CARRIAGE):
                return self._move_carriage(command.target)
        refusal = self._refusal(command, command.target)
        if refusal is None:
            self.bench.force_limit_newton = command.force_limit_mn / 1000
            self.bench.stage.go(
                command.target / 1000, command.speed_um_per_s / 1000, command.acceleration_um_per_s2 / 1000
            )
        return refusal

    def _begin_home(self) -> None:
        self._homing = True
        self.bench.force_limit_newton = self.spec.bench.sensors.force_range_newton
        self.bench.stage.go(self.spec.bench.stage.lowest_mm, HOME_MM_PER_S, HOME_MM_PER_S2)

    def _begin_swing(self, swing: Swing) -> Refusal | None:
        refusal = self._refusal(swing, swing.top_um) or self._refusal(swing, swing.bottom_um)
        if refusal is None and (swing.top_um >= swing.bottom_um or not swing.count):
            refusal = Refusal.OUT_OF_RANGE
        if refusal is None:
            self.bench.force_limit_newton = swing.force_limit_mn / 1000
            self._swing, self._legs_left = swing, 2 * swing.count
            self._next_leg(swing)
        return refusal

    def _refusal(self, command: Move | Swing, target_um: int) -> Refusal | None:
        return None if is_within_reach(self.spec, command, target_um) else Refusal.OUT_OF_RANGE

    def _move_carriage(self, station: int) -> Refusal | None:
        if station not in self.bench.keys:
            return Refusal.OUT_OF_RANGE
        if self.bench.stage.screw_mm > CARRIAGE_FREE_MM:
            return Refusal.BUSY
        way = abs(station - self.bench.station)
        self._carriage_target = station
        self._carriage_arrives_us = self._now_us + CARRIAGE_US + CARRIAGE_US_PER_STATION * way
        return None

    def _say_hello(self) -> None:
        self._say(hello_of(self.spec, len(self._axes), self._start_count, self._sample_number, self._event_number))

    def _introduce(self) -> None:
        self._say_hello()
        for channel in channels_of(self.spec):
            self._say(channel)
