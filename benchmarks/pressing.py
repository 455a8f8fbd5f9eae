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

Recorded = tuple[RawTrace, RawEvents]


class _Tape:
    """Lets a bench run and keeps what it shows."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._now_us = 0
        self._samples, self._events = [], []

    def run(self, seconds: float) -> None:
        count = max(1, round(seconds * self.bench.spec.sample_rate_hz))
        first_us = self._now_us + self.bench.sample_period_us
        self._samples.append(self.bench.make_samples(count, first_us, lambda *_: None))
        self._now_us += count * self.bench.sample_period_us
        self._events.append(self.bench.events_until(self._now_us))

    def run_while(self, busy: Callable[[], bool]) -> None:
        while busy():
            self.run(BLOCK_S)
            if self._now_us > LONGEST_S * 1e6:
                raise TimeoutError("the virtual key is still being pressed; nothing may take so long")

    def cut(self) -> Recorded:
        samples, events = np.concatenate(self._samples), np.concatenate(self._events)
        ticks = samples["tick_us"].astype(np.int64)
        trace = RawTrace(np.arange(len(ticks)), ticks, samples["force_counts"], samples["displacement_counts"])
        return trace, RawEvents(events["tick_us"].astype(np.int64), events["source"], events["byte"])


def press_by_motor(key: KeySpec, spec: BenchSpec, random: np.random.Generator) -> Recorded:
    """Return what the sensors and the key's notes show while the motor presses as a survey does."""
    bench = Bench(spec, (key,))
    stage, tape = bench.stage, _Tape(bench)
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
    tape = _Tape(Bench(spec, (key,), person))
    person.rest(HAND_RESTS_S)
    for _ in range(STROKES):
        person.press("good")
        person.rest(HAND_RESTS_S)
    tape.run_while(lambda: not person.idle)
    return tape.cut()
