"""Virtual keys pressed as the programme `full` presses them, recorded without a port: speeds and partial lifts.

How it works: as `virtual_keys.py`, with the steps of `daq/steps.py` done over again on the bare bench: slow strokes, a
ladder of speeds from the touched key, lifts that halve the doubt about where the key sounds again. Every stretch gets
the mark that a survey would give it. Left out: the repetition ladder, of which the model knows no truth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.virtual_keys import BLOCK, SPEED_MM_PER_S, TURN_NEWTON, _a_bench, _a_key, _scale
from recordings.keys import Key
from recordings.types import Calibration, KeyRecording, Mark, RawEvents, RawTrace
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.dynamic_truths import true_dynamics
from rig.virtual.person import PressKind, VirtualPerson
from rig.virtual.scenario import KeySpec
from rig.virtual.stage import Stage
from rig.virtual.truths import true_features

SPEEDS_MM_PER_S = (5.0, 10.0, 20.0, 50.0, 100.0)
HARD_MM_PER_S2, EASY_MM_PER_S2, APPROACH_MM_PER_S, LIFT_MM_PER_S = 5000.0, 200.0, 10.0, 5.0
ABOVE_BED_MM, CLOSEST_MM, TOUCH_NEWTON, CLEARANCE_MM, LADDER_NEWTON = 0.3, 0.05, 0.15, 0.6, 10.0
"""As in `daq/programme.py`."""
REST, LISTEN, LONGEST = 300, 100, 200_000
"""Samples."""
NOTE_ON = 0x90
HAND_PRESSES: tuple[PressKind, ...] = (*3 * ("good",), *3 * ("too_fast",))


@dataclass(frozen=True, slots=True)
class VirtualLadder:
    """One recorded key and what is true of it."""

    key: KeySpec
    recording: KeyRecording
    calibration: Calibration
    truths: dict[str, float | None]


def virtual_ladder(number: int, seed: int = 0) -> VirtualLadder:
    """Return the key of this number, pressed in all ways. Seeded: the same number and seed give the same key."""
    random = np.random.default_rng((seed, number))
    key = _a_key(("fern", "moss")[number % 2], sharp=bool(number // 2 % 2), random=random)
    spec = _a_bench(random)
    recording = _Programme(key, spec).record()
    return VirtualLadder(key, recording, _calibration(spec), true_features(key) | true_dynamics(key))


def _calibration(spec: BenchSpec) -> Calibration:
    """Return the very scales that made the counts."""
    sensors = spec.sensors
    return Calibration(
        force=_scale(sensors.force_counts_per_newton, "N"),
        displacement=_scale(sensors.displacement_counts_per_mm, "mm"),
        compliance_mm_per_newton=spec.compliance_mm_per_newton,
        force_delay_us=round(sensors.force_delay_samples * 1e6 / spec.sample_rate_hz),
    )


class _Tape:
    """Lets a bench run and keeps what it shows."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.sample_count = 0
        self._samples, self._events = [], []

    def run(self, count: int) -> None:
        period_us = self._bench.sample_period_us
        first_us = (self.sample_count + 1) * period_us
        self._samples.append(self._bench.make_samples(count, first_us, lambda *_: None))
        self.sample_count += count
        self._events.append(self._bench.events_until(self.sample_count * period_us))

    def run_while(self, busy: Callable[[], bool]) -> None:
        longest = self.sample_count + LONGEST
        while busy():
            self.run(BLOCK)
            if self.sample_count > longest:
                raise TimeoutError("the plunger is still moving; nothing may take so long")

    def note_ons_since(self, block: int) -> int:
        """Count the status bytes of note-ons from a block of events on."""
        return sum(int((events["byte"] == NOTE_ON).sum()) for events in self._events[block:])

    @property
    def block(self) -> int:
        return len(self._events)

    def cut(self) -> tuple[RawTrace, RawEvents]:
        samples, events = np.concatenate(self._samples), np.concatenate(self._events)
        ticks = samples["tick_us"].astype(np.int64)
        trace = RawTrace(np.arange(len(ticks)), ticks, samples["force_counts"], samples["displacement_counts"])
        return trace, RawEvents(events["tick_us"].astype(np.int64), events["source"], events["byte"])


def virtual_hand(number: int, seed: int = 0) -> VirtualLadder:
    """Return a key pressed by hand, three slow strokes and three that are too fast for the slow numbers."""
    random = np.random.default_rng((seed, number))
    key = _a_key(("fern", "moss")[number % 2], sharp=bool(number // 2 % 2), random=random)
    spec = _a_bench(random)
    person = VirtualPerson(station=key.number, seed=int(random.integers(2**31)))
    tape = _Tape(Bench(spec, (key,), person))
    person.rest(0.5)
    for kind in HAND_PRESSES:
        person.press(kind)
        person.rest(0.5)
    tape.run_while(lambda: not person.idle)
    recording = KeyRecording(Key(key.number), *tape.cut())
    return VirtualLadder(key, recording, _calibration(spec), true_features(key) | true_dynamics(key))


class _Programme:
    """A plunger over one key that does all steps and keeps marks."""

    def __init__(self, key: KeySpec, spec: BenchSpec) -> None:
        self._key, self._bench = key, Bench(spec, (key,))
        self._zero_newton = spec.sensors.force_zero_newton
        self._deepest_mm = spec.stage.highest_mm
        self._tape = _Tape(self._bench)
        self._marks: list[Mark] = []
        self._marked = 0

    def record(self) -> KeyRecording:
        touch_mm = self._touched()
        start_mm = touch_mm - CLEARANCE_MM
        self._go(start_mm, APPROACH_MM_PER_S, EASY_MM_PER_S2)
        self._end("rest", "rest")
        bed_mm = self._slow_strokes(start_mm)
        self._ladder(touch_mm, start_mm, bed_mm)
        self._lifts(start_mm, bed_mm)
        return KeyRecording(Key(self._key.number), *self._tape.cut(), tuple(self._marks))

    @property
    def _stage(self) -> Stage:
        assert isinstance(self._bench.stage, Stage)
        return self._bench.stage

    def _touched(self) -> float:
        self._stage.screw_mm = self._key.surface_mm - 1.0
        self._tape.run(REST)
        self._go(self._deepest_mm, APPROACH_MM_PER_S, EASY_MM_PER_S2, TOUCH_NEWTON)
        return self._stage.screw_mm

    def _slow_strokes(self, start_mm: float) -> float:
        bed_mm = 0.0
        for number in (1, 2, 3):
            self._tape.run(REST)
            self._go(self._deepest_mm, SPEED_MM_PER_S, EASY_MM_PER_S2, TURN_NEWTON)
            bed_mm = self._stage.screw_mm
            self._go(start_mm, SPEED_MM_PER_S, EASY_MM_PER_S2)
            self._end(f"stroke {number}", "strokes")
        return bed_mm

    def _ladder(self, touch_mm: float, start_mm: float, bed_mm: float) -> None:
        for speed in SPEEDS_MM_PER_S:
            for number in (1, 2):
                self._go(touch_mm, APPROACH_MM_PER_S, EASY_MM_PER_S2)
                self._tape.run(REST)
                self._go(bed_mm - ABOVE_BED_MM, speed, HARD_MM_PER_S2, LADDER_NEWTON)
                self._tape.run(REST)
                self._go(start_mm, APPROACH_MM_PER_S, EASY_MM_PER_S2)
                self._end(f"{speed:g} mm/s, stroke {number}", "speed ladder")

    def _lifts(self, start_mm: float, bed_mm: float) -> None:
        fails_mm, works_mm = 0.0, bed_mm - start_mm
        self._sounds_after(works_mm, bed_mm)
        while works_mm - fails_mm > CLOSEST_MM:
            lift_mm = (fails_mm + works_mm) / 2
            sounded = self._sounds_after(lift_mm, bed_mm)
            fails_mm, works_mm = (fails_mm, lift_mm) if sounded else (lift_mm, works_mm)
            self._end(f"lift: {lift_mm:.3f} mm {'sounded' if sounded else 'silent'}", "partial lifts")

    def _sounds_after(self, lift_mm: float, bed_mm: float) -> bool:
        self._go(bed_mm, LIFT_MM_PER_S, EASY_MM_PER_S2, TURN_NEWTON)
        self._tape.run(LISTEN)
        before = self._tape.block
        self._go(bed_mm - lift_mm, LIFT_MM_PER_S, EASY_MM_PER_S2)
        self._tape.run(LISTEN)
        self._go(bed_mm, LIFT_MM_PER_S, EASY_MM_PER_S2, TURN_NEWTON)
        self._tape.run(LISTEN)
        return self._tape.note_ons_since(before) > 0

    def _go(self, to_mm: float, speed: float, acceleration: float, limit_newton: float | None = None) -> None:
        most = self._bench.spec.sensors.force_range_newton
        self._bench.force_limit_newton = most if limit_newton is None else self._zero_newton + limit_newton
        self._stage.go(to_mm, speed, acceleration)
        self._tape.run_while(lambda: self._stage.moving)

    def _end(self, name: str, step: str) -> None:
        self._marks.append(Mark(name, self._marked, self._tape.sample_count - 1, step))
        self._marked = self._tape.sample_count
