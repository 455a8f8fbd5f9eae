"""Virtual keys by the thousand, pressed and recorded without a port: what `benchmarks.coverage` measures.

How it works: a number names a key. From it follow the scenario (fern, moss), who presses (motor, hand), the colour, and
a seed from which all else is drawn: the keyboard's own scatter, the noise, hum, drift and zero of the sensors, the size
of the screw's wobble, the latency of the note within its bound, where strokes start. How they are pressed:
`pressing.py`. Counts are made by the true scales of the rig and explained by a calibration record drawn anew for every
key (`drawn_calibrations.py`), which is wrong by what it says it may be.

Left out: faulty keys, the touch that finds the key before the first stroke, presses that a survey would refuse.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from benchmarks.drawn_calibrations import Drawer
from benchmarks.pressing import SPEED_MM_PER_S, press_by_hand, press_by_motor
from recordings.keys import Key
from recordings.types import Calibration, KeyRecording, LinearScale
from rig.virtual.bench import BenchSpec
from rig.virtual.scenario import KeySpec, is_sharp, keyboard_of, load_scenario
from rig.virtual.sensors import SensorSpec
from rig.virtual.stage import StageSpec
from rig.virtual.truths import true_features

Who = Literal["motor", "hand"]
HAND_MM_PER_S = 3.3
"""Mean speed of a virtual person's good press (`person.py`, 2.8 to 3.8). A slow number is that of its speed: the
definition admits any up to 5 mm/s, and friction grows by 0.2 mN a mm/s, so a truth is asked for at the same speed."""
LATENCY_BYTES_S, LATENCY_BOUND_S = 0.00096, 0.005
"""A note is late by the time of its three MIDI bytes at least, and by what the analysis takes for its bound at most."""


@dataclass(frozen=True, slots=True)
class VirtualKey:
    """One recorded key and what is true of it."""

    scenario: str
    who: Who
    sharp: bool
    recording: KeyRecording
    calibration: Calibration
    truths: dict[str, float | None]


def virtual_key(number: int, seed: int = 0) -> VirtualKey:
    """Return the key of this number, recorded: of four in a row each scenario comes twice, once by either hand.

    The next four are of the other colour. Seeded: the same number and seed give the same key.
    """
    random = np.random.default_rng((seed, number))
    name, who = ("fern", "moss")[number % 2], _who(number)
    key = a_demo_key(name, sharp=bool(number // 4 % 2), random=random)
    spec = a_bench(random)
    record = press_by_motor if who == "motor" else press_by_hand
    trace, events = record(key, spec, random)
    recording = KeyRecording(Key(key.number), trace, events)
    calibration = _calibration(spec, random)
    truths = true_features(key, speed_mm_per_s=SPEED_MM_PER_S if who == "motor" else HAND_MM_PER_S)
    return VirtualKey(name, who, is_sharp(key.number), recording, calibration, truths)


def _who(number: int) -> Who:
    return "hand" if number // 2 % 2 else "motor"


def a_demo_key(scenario: str, *, sharp: bool, random: np.random.Generator) -> KeySpec:
    """Return a key of a scenario, its scatter and the latency of its note drawn anew."""
    drawn = load_scenario(scenario).model_copy(update={"seed": int(random.integers(2**31)), "faults": ()})
    key = random.choice([key for key in keyboard_of(drawn) if is_sharp(key.number) == sharp])
    late_s = random.uniform(LATENCY_BYTES_S, LATENCY_BOUND_S) - LATENCY_BYTES_S
    return replace(key, note=replace(key.note, latency_s=late_s))


def a_bench(random: np.random.Generator) -> BenchSpec:
    """Return a bench from half as noisy to twice as noisy as the default one."""
    sensors = SensorSpec(
        force_noise_newton=0.003 * 2.0 ** random.uniform(-1.0, 1.0),
        hum_newton=0.0015 * random.uniform(0.0, 2.0),
        hum_hz=float(random.choice((50.0, 60.0))),
        drift_newton_per_s=0.00005 * random.uniform(-2.0, 2.0),
        force_zero_newton=random.uniform(-0.1, 0.1),
        displacement_noise_mm=0.0005 * 2.0 ** random.uniform(-1.0, 1.0),
    )
    stage = StageSpec(ripple_mm=0.006 * random.uniform(0.0, 1.5))
    return BenchSpec(sensors=sensors, stage=stage, seed=int(random.integers(2**31)))


def stated_calibration(spec: BenchSpec) -> Calibration:
    """Return what a rig states of itself: the very scales that made its counts."""
    sensors = spec.sensors
    delay_us = round(sensors.force_delay_samples * 1e6 / spec.sample_rate_hz)
    return Calibration(
        force=_scale(sensors.force_counts_per_newton, "N"),
        displacement=_scale(sensors.displacement_counts_per_mm, "mm"),
        compliance_mm_per_newton=spec.compliance_mm_per_newton,
        force_delay_us=delay_us,
    )


def _calibration(spec: BenchSpec, random: np.random.Generator) -> Calibration:
    """Return what the rig states of itself, and the record that goes before it."""
    return replace(stated_calibration(spec), record=Drawer(spec, random).record())


def _scale(counts_per_unit: float, unit: str) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference="as simulated"
    )
