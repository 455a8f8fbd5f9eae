"""The firmware of the virtual rig: bytes in, bytes out, time told to it. It never sleeps and reads no clock.

How it works: `advance` lets the bench run up to the time it is told and returns the frames that fall due; `receive`
does the same and then obeys what the host has said. The watchdog stops the plunger when the host falls silent.

Not simulated: USB latency and lost bytes (the faults of the link are the tests' business), the finger or mass of the
plunger tip itself, temperature, a carriage that misses its station, anything between keys. See also `key_action.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from rig.protocol.frames import Frame, FrameDecoder, encode_frame
from rig.protocol.messages import (
    Ack,
    Axis,
    Cause,
    Channel,
    EventBlock,
    Greet,
    Heartbeat,
    Hello,
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
)
from rig.protocol.table import PROTOCOL_VERSION
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.scenario import KeySpec

BLOCK = 50
"""Samples in a block."""
CARRIAGE_US_PER_STATION, CARRIAGE_US = 60_000, 300_000
CARRIAGE_FREE_MM = 0.5
"""The carriage moves only while the plunger is this near the top: lower down it would shear the keys."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RigSpec:
    """Who the rig says it is, and how long it waits for a silent host."""

    model: str = "virtual bench"
    serial_number: str = "V-0001"
    firmware: str = "1"
    watchdog_us: int = 250_000
    bench: BenchSpec = field(default_factory=BenchSpec)


class VirtualRig:
    """A rig with a keyboard under it."""

    def __init__(self, keys: tuple[KeySpec, ...], spec: RigSpec | None = None) -> None:
        self.spec = spec or RigSpec()
        self.bench = Bench(self.spec.bench, keys)
        self._decoder, self._out = FrameDecoder(), bytearray()
        self._sequence = self._sample_number = self._event_number = 0
        self._now_us = self._heard_us = 0
        self._greeted = self._streaming = False
        self._carriage_arrives_us: int | None = None
        self._carriage_target = self.bench.station

    def advance(self, now_us: int) -> bytes:
        """Let time pass up to now_us and return what the rig sends in it. Time told must not go back."""
        period = self.bench.sample_period_us
        while (due := (now_us - self._now_us) // period) > 0:
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
        if self._streaming:
            self._say(SampleBlock(self._sample_number, samples))
        self._sample_number = (self._sample_number + count) & 0xFFFFFFFF
        events = self.bench.events_until(self._now_us)
        if len(events) and self._streaming:
            self._say(EventBlock(self._event_number, events))
        self._event_number = (self._event_number + len(events)) & 0xFFFFFFFF
        self._carriage()
        if self.bench.stage.moving and self._now_us - self._heard_us > self.spec.watchdog_us:
            self._halt(Cause.HOST_SILENT)

    def _plunger_rests(self, tick_us: int, cause: Cause) -> None:
        stopped = cause in (Cause.STOP_COMMAND, Cause.HOST_SILENT)
        self._say_status(tick_us, Axis.PLUNGER, State.STOPPED if stopped else State.IDLE, cause)

    def _say_status(self, tick_us: int, axis: Axis, state: State, cause: Cause) -> None:
        position = round(self.bench.stage.screw_mm * 1000) if axis is Axis.PLUNGER else self.bench.station
        self._say(Status(tick_us & 0xFFFFFFFF, axis, state, cause, position))

    def _carriage(self) -> None:
        if self._carriage_arrives_us is not None and self._now_us >= self._carriage_arrives_us:
            self._carriage_arrives_us = None
            self.bench.station = self._carriage_target
            self._say_status(self._now_us, Axis.CARRIAGE, State.IDLE, Cause.TARGET_REACHED)

    def _halt(self, cause: Cause) -> None:
        self._carriage_arrives_us = None
        if self.bench.stage.moving:
            self.bench.brake(cause)
        else:
            self._say_status(self._now_us, Axis.PLUNGER, State.STOPPED, cause)

    def _obey(self, frame: Frame) -> None:
        refusal = self._do(frame.message)
        if refusal is not None:
            self._say(Nak(frame.sequence, refusal))
        elif not isinstance(frame.message, Heartbeat):
            self._say(Ack(frame.sequence))

    def _do(self, command: Message) -> Refusal | None:
        match command:
            case Greet():
                self._greeted = True
                self._introduce()
            case Heartbeat():
                pass
            case Stop():
                self._halt(Cause.STOP_COMMAND)
            case StartStream() | StopStream() | Move() if not self._greeted:
                return Refusal.NOT_GREETED
            case StartStream() | StopStream():
                self._streaming = isinstance(command, StartStream)
            case Move():
                return self._move(command)
            case _:
                return Refusal.UNKNOWN_COMMAND
        return None

    def _move(self, move: Move) -> Refusal | None:
        if self._carriage_arrives_us is not None or self.bench.stage.moving:
            return Refusal.BUSY
        if move.axis == Axis.PLUNGER:
            return self._move_plunger(move)
        if move.axis == Axis.CARRIAGE:
            return self._move_carriage(move.target)
        return Refusal.NO_SUCH_AXIS

    def _move_plunger(self, move: Move) -> Refusal | None:
        stage, sensors = self.spec.bench.stage, self.spec.bench.sensors
        reachable = stage.lowest_mm * 1000 <= move.target <= stage.highest_mm * 1000
        if not reachable or not move.speed_um_per_s or not move.acceleration_um_per_s2:
            return Refusal.OUT_OF_RANGE
        if not 0 < move.force_limit_mn <= sensors.force_range_newton * 1000:
            return Refusal.OUT_OF_RANGE
        self.bench.force_limit_newton = move.force_limit_mn / 1000
        self.bench.stage.go(move.target / 1000, move.speed_um_per_s / 1000, move.acceleration_um_per_s2 / 1000)
        return None

    def _move_carriage(self, station: int) -> Refusal | None:
        if station not in self.bench.keys:
            return Refusal.OUT_OF_RANGE
        if self.bench.stage.screw_mm > CARRIAGE_FREE_MM:
            return Refusal.BUSY
        way = abs(station - self.bench.station)
        self._carriage_target = station
        self._carriage_arrives_us = self._now_us + CARRIAGE_US + CARRIAGE_US_PER_STATION * way
        return None

    def _introduce(self) -> None:
        bench, sensors = self.spec.bench, self.spec.bench.sensors
        self._say(
            Hello(
                protocol_version=PROTOCOL_VERSION,
                model=self.spec.model,
                serial_number=self.spec.serial_number,
                firmware=self.spec.firmware,
                sample_rate_mhz=bench.sample_rate_hz * 1000,
                channel_count=2,
                axis_count=len(Axis),
                compliance_nm_per_newton=round(bench.compliance_mm_per_newton * 1e6),
            )
        )
        late_us = sensors.force_delay_samples * self.bench.sample_period_us
        most = sensors.force_range_newton
        self._say(Channel(0, "force", "N", sensors.force_counts_per_newton, 0, late_us, -most, most))
        self._say(
            Channel(
                1,
                "displacement",
                "mm",
                sensors.displacement_counts_per_mm,
                0,
                0,
                bench.stage.lowest_mm,
                bench.stage.highest_mm,
            )
        )
