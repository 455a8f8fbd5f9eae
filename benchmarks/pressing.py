"""Presses a virtual key three times, by motor or by hand, without a port; and keeps what the sensors show.

How it works: the mechanism is the whole one, with inertia, friction and contact; only the time in which nothing is
pressed is kept short. Samples come straight from the bench: nothing is lost on a cable.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from recordings.types import RawEvents, RawTrace
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.person import VirtualPerson
from rig.virtual.scenario import KeySpec
from rig.virtual.stage import Stage

BLOCK_S = 0.05
STROKES = 3
SPEED_MM_PER_S, ACCELERATION_MM_PER_S2, TURN_NEWTON = 4.0, 200.0, 4.0
"""As in the programme `slow`."""
REST_S, HAND_RESTS_S = 0.4, 0.5
LONGEST_S = 120.0
NOTE_ON = 0x90
"""Status byte on the first channel; no data byte is so large."""

Recorded = tuple[RawTrace, RawEvents]


class Tape:
    """Lets a bench run and keeps what it shows."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.sample_count = 0
        self._samples, self._events = [], []

    def run(self, seconds: float) -> None:
        """Let some time pass, one sample at least."""
        period_us, count = self.bench.sample_period_us, max(1, round(seconds * self.bench.spec.sample_rate_hz))
        first_us = (self.sample_count + 1) * period_us
        self._samples.append(self.bench.make_samples(count, first_us, lambda *_: None))
        self.sample_count += count
        self._events.append(self.bench.events_until(self.sample_count * period_us))

    def run_while(self, busy: Callable[[], bool], *, block_s: float = BLOCK_S) -> None:
        """Let time pass until something is over. Raises TimeoutError if it lasts too long."""
        longest = self.sample_count + LONGEST_S * self.bench.spec.sample_rate_hz
        while busy():
            self.run(block_s)
            if self.sample_count > longest:
                raise TimeoutError("the virtual key is still being pressed; nothing may take so long")

    @property
    def blocks(self) -> int:
        """How often time has passed so far."""
        return len(self._events)

    def note_ons_since(self, block: int) -> int:
        """Count the status bytes of note-ons from a block of events on."""
        return sum(int((events["byte"] == NOTE_ON).sum()) for events in self._events[block:])

    def cut(self) -> Recorded:
        """Return all that was shown."""
        samples, events = np.concatenate(self._samples), np.concatenate(self._events)
        ticks = samples["tick_us"].astype(np.int64)
        trace = RawTrace(np.arange(len(ticks)), ticks, samples["force_counts"], samples["displacement_counts"])
        return trace, RawEvents(events["tick_us"].astype(np.int64), events["source"], events["byte"])


def press_by_motor(key: KeySpec, spec: BenchSpec, random: np.random.Generator) -> Recorded:
    """Return what the sensors and the key's notes show while the motor presses as a survey does."""
    bench = Bench(spec, (key,))
    stage, tape = bench.stage, Tape(bench)
    assert isinstance(stage, Stage)
    start_mm = stage.screw_mm = key.surface_mm - random.uniform(0.7, 1.2)
    bench.force_limit_newton = spec.sensors.force_zero_newton + TURN_NEWTON
    tape.run(REST_S)
    for _ in range(STROKES):
        for target_mm in (spec.stage.highest_mm, start_mm):
            stage.go(target_mm, SPEED_MM_PER_S, ACCELERATION_MM_PER_S2)
            tape.run_while(lambda: stage.moving)
        tape.run(REST_S)
    return tape.cut()


def press_by_hand(key: KeySpec, spec: BenchSpec, random: np.random.Generator) -> Recorded:
    """Return what they show while a person presses, tremor and uneven speed included."""
    person = VirtualPerson(station=key.number, seed=int(random.integers(2**31)))
    tape = Tape(Bench(spec, (key,), person))
    person.rest(HAND_RESTS_S)
    for _ in range(STROKES):
        person.press("good")
        person.rest(HAND_RESTS_S)
    tape.run_while(lambda: not person.idle)
    return tape.cut()
