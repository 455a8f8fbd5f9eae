"""The moving part of the virtual rig: plunger, contact, key and sensors, advanced sample by sample.

How it works: every sample is made of a few small time steps (at most STEP_S) in which the stage moves, the contact
force follows from how far the plunger presses into the key, and the key moves under it. The force the cell shows is
late by its filter; the force limit looks at what the cell shows, as firmware would. The plunger is moved by a motor,
or by the hand of a person, who also carries the bench from key to key and treads on the foot switch.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil

import numpy as np
from numpy.typing import NDArray

from rig.protocol.messages import EVENT_DTYPE, SAMPLE_DTYPE, Cause, Source
from rig.virtual.hand import Hand
from rig.virtual.key_action import Contact, KeyAction
from rig.virtual.notes import NoteSensor
from rig.virtual.person import VirtualPerson
from rig.virtual.scenario import KeySpec
from rig.virtual.sensors import Sensors, SensorSpec
from rig.virtual.stage import Stage, StageSpec

STEP_S = 0.0005
STALLED_MM = 0.5
"""More than this between the motor's place and the gauge's is a stall."""
QUIET_MM_PER_S, QUIET_MM = 1e-4, 0.05
"""A key slower and nearer to its rest than this lies still."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSpec:
    """The bench in numbers."""

    sample_rate_hz: int = 1000
    compliance_mm_per_newton: float = 0.02
    stage: StageSpec = field(default_factory=StageSpec)
    sensors: SensorSpec = field(default_factory=SensorSpec)
    seed: int = 1


class KeyUnderPlunger:
    """One key of the keyboard with its note sensor; keeps its state while the plunger is elsewhere."""

    def __init__(self, spec: KeySpec) -> None:
        self.surface_mm = spec.surface_mm
        self.action = KeyAction(spec.action)
        self.notes = NoteSensor(spec.note, midi_note=spec.number + 20)
        self.rest_mm = self.action.key_mm


class Bench:
    """Everything that moves. Time passes only in `make_samples`."""

    def __init__(self, spec: BenchSpec, keys: tuple[KeySpec, ...], person: VirtualPerson | None = None) -> None:
        self.spec = spec
        self.person = person
        self.stage: Stage | Hand = person.hand if person else Stage(spec.stage)
        self.sensors = Sensors(spec.sensors, sample_rate_hz=spec.sample_rate_hz, seed=spec.seed)
        self.contact = Contact(1.0 / spec.compliance_mm_per_newton)
        self.keys = {key.number: KeyUnderPlunger(key) for key in keys}
        self.station = person.station if person else min(self.keys)
        self.force_limit_newton = spec.sensors.force_range_newton
        self.said: list[tuple[int, int]] = []
        """MIDI bytes on their way: (tick_us, byte), oldest first."""
        self.trodden: list[tuple[int, int]] = []
        """Bytes of the foot switch, likewise."""
        self._braking_for: Cause | None = None

    @property
    def sample_period_us(self) -> int:
        """Time between two samples, in microseconds."""
        return 1_000_000 // self.spec.sample_rate_hz

    def make_samples(
        self, count: int, first_tick_us: int, came_to_rest: Callable[[int, Cause], None]
    ) -> np.ndarray[tuple[int], np.dtype[np.void]]:
        """Let `count` sample periods pass and return the samples, (count,) of SAMPLE_DTYPE.

        came_to_rest(tick_us, cause) is called when the plunger stops.
        """
        errors = self.sensors.force_errors(count)
        measured, plunger = np.empty(count), np.empty(count)
        ticks = first_tick_us + self.sample_period_us * np.arange(count)
        if self._nothing_happens():
            return self._samples(ticks, errors, np.full(count, self.stage.plunger()[0]))
        steps = ceil(1.0 / self.spec.sample_rate_hz / STEP_S)
        dt_s = 1.0 / self.spec.sample_rate_hz / steps
        tick_us = first_tick_us
        for number, error in enumerate(errors.tolist()):
            force, place, reached = self._pass(steps, dt_s)
            shown = self.sensors.delayed(force) + error
            measured[number], plunger[number] = shown, place
            if isinstance(self.stage, Stage) and self.stage.moving:
                self._guard(self.stage, shown, place)
            if reached is not None:
                came_to_rest(tick_us, self._braking_for or reached)
                self._braking_for = None
            if self.person is not None:
                self.trodden += [(tick_us, byte) for byte in self.person.act(tick_us)]
                self.station = self.person.station
            here = self.keys[self.station]
            self.said += here.notes.watch(here.action.key_mm, tick_us)
            tick_us += self.sample_period_us
        return self._samples(ticks, measured, plunger)

    def _samples(
        self, ticks: NDArray[np.int64], measured: NDArray[np.float64], plunger: NDArray[np.float64]
    ) -> np.ndarray[tuple[int], np.dtype[np.void]]:
        samples = np.empty(len(ticks), SAMPLE_DTYPE)
        samples["tick_us"] = ticks & 0xFFFFFFFF
        samples["force_counts"] = self.sensors.force_counts(measured)
        samples["displacement_counts"] = self.sensors.displacement_counts(plunger)
        return samples

    def _nothing_happens(self) -> bool:
        """Tell whether plunger and key stand apart and still: then a block needs no steps, only the sensors' noise."""
        return self.person is None and self.sensors.shows_nothing and self._key_rests()

    def _key_rests(self) -> bool:
        """Tell whether the motor stands in the air and the key below it lies still."""
        here = self.keys[self.station]
        return (
            not self.stage.moving
            and abs(here.action.velocity_mm_per_s) < QUIET_MM_PER_S
            and abs(here.action.key_mm - here.rest_mm) < QUIET_MM
            and self.stage.plunger()[0] < here.surface_mm - 2 * QUIET_MM
        )

    def _guard(self, stage: Stage, shown_newton: float, plunger_mm: float) -> None:
        """Stop by ourselves, as firmware would, whatever the host says."""
        if stage.screw_mm_per_s > 0.0 and shown_newton >= self.force_limit_newton:
            self.brake(Cause.FORCE_LIMIT)
        if abs(plunger_mm - stage.screw_mm) > STALLED_MM:
            self.brake(Cause.STALL)
        if stage.end_switch_closed() and stage.screw_mm_per_s > 0.0:
            self.brake(Cause.OVER_TRAVEL)

    def _pass(self, steps: int, dt_s: float) -> tuple[float, float, Cause | None]:
        """Return the contact force in N and the plunger's place in mm after some steps, and whether the move ended."""
        here, reached, force, place = self.keys[self.station], None, 0.0, 0.0
        offset = here.surface_mm - here.rest_mm
        for _ in range(steps):
            reached = self.stage.advance(dt_s) or reached
            place, speed = self.stage.plunger()
            force = self.contact.force(place - offset, speed, here.action)
            here.action.advance(force, dt_s)
            if self.person is not None:
                self.person.hand.feel(force)
        return force, place, reached

    def carry_to(self, station: int) -> None:
        """Put the plunger over another key."""
        self.station = station

    def brake(self, cause: Cause) -> None:
        """Stop the plunger as fast as it can; `came_to_rest` will give this cause. Harmless when it stands."""
        if self.stage.moving and self._braking_for is None:
            self._braking_for = cause
            self.stage.stop()

    def cut_power(self) -> None:
        """Stop at once, as a motor without current does, and forget what was on its way out."""
        self.stage.screw_mm_per_s, self.stage.moving = 0.0, False
        self._braking_for, self.said = None, []

    def events_until(self, tick_us: int) -> np.ndarray[tuple[int], np.dtype[np.void]]:
        """Return and forget the bytes that have arrived by now, oldest first, (N,) of EVENT_DTYPE."""
        came = [(tick, Source.MIDI_IN, byte) for tick, byte in self.said if tick <= tick_us]
        came += [(tick, Source.FOOT_SWITCH, byte) for tick, byte in self.trodden if tick <= tick_us]
        self.said = [later for later in self.said if later[0] > tick_us]
        self.trodden = [later for later in self.trodden if later[0] > tick_us]
        return np.array([(tick & 0xFFFFFFFF, source, byte) for tick, source, byte in sorted(came)], EVENT_DTYPE)
