"""Keys of every ugliness, recorded by rigs from poor to good: what `benchmarks.accuracy` measures.

How it works: a number names a key. From it follow who presses (motor, hand), whether the rig is the default one or any
(200 Hz to 10 kHz, gauge steps of 0.5 to 20 um, noise from half to four times the default), and a seed from which the
key is drawn: a key of `fern` or `moss` made lighter or heavier, with a let-off that is plain, crisp, wide, faint, late
or not there, a strong damper or none, some break-away, sharps and naturals alike. How they are pressed: `pressing.py`.

Left out: faulty keys (`gritty`, `sticky`: their numbers carry flags), losses on the cable, errors of the calibration.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from benchmarks.pressing import SPEED_MM_PER_S, press_by_hand, press_by_motor
from benchmarks.virtual_keys import HAND_MM_PER_S, LATENCY_BYTES_S, stated_calibration
from recordings.keys import Key
from recordings.types import Calibration, KeyRecording
from rig.virtual.bench import BenchSpec
from rig.virtual.elements import LetOffSpec
from rig.virtual.scenario import KeySpec, is_sharp, keyboard_of, load_scenario
from rig.virtual.sensors import SensorSpec
from rig.virtual.stage import StageSpec
from rig.virtual.truths import true_features

LetOffManner = Literal["plain", "crisp", "wide", "faint", "late", "none"]
MANNERS: tuple[LetOffManner, ...] = get_args(LetOffManner)
NONE_SHARE = 0.4
"""So many keys have no let-off, or a rate of invented ones of a thousandth could not be seen."""
RATES_HZ = (200, 500, 1000, 2000, 5000, 10000)
GAUGE_STEPS_UM = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
Group = Literal["motor, default rig", "hand, default rig", "motor, any rig", "hand, any rig"]
GROUPS: tuple[Group, ...] = get_args(Group)


@dataclass(frozen=True, slots=True)
class UglyKey:
    """One recorded key and what is true of it."""

    group: Group
    manner: LetOffManner
    recording: KeyRecording
    calibration: Calibration
    truths: dict[str, float | None]


def ugly_key(number: int, seed: int = 0) -> UglyKey:
    """Return the key of this number, recorded; the groups take turns. The same number and seed give the same key."""
    random = np.random.default_rng((seed, number, 7))
    group = GROUPS[number % len(GROUPS)]
    manner: LetOffManner = "none" if random.random() < NONE_SHARE else random.choice(MANNERS[:-1])
    key = a_key(manner, random)
    spec = default_rig(random) if "default" in group else any_rig(random)
    press = press_by_motor if group.startswith("motor") else press_by_hand
    trace, events = press(key, spec, random)
    recording = KeyRecording(Key(key.number), trace, events)
    mm_per_s = SPEED_MM_PER_S if group.startswith("motor") else HAND_MM_PER_S
    truths = as_told(true_features(key, speed_mm_per_s=mm_per_s), key, mm_per_s)
    return UglyKey(group, manner, recording, stated_calibration(spec), truths)


def as_told(truths: dict[str, float | None], key: KeySpec, mm_per_s: float) -> dict[str, float | None]:
    """Return the truths with places of the note where the key was when it was told: raw, as defined for one speed."""
    late_mm = mm_per_s * (key.note.latency_s + LATENCY_BYTES_S)
    moves = {"trigger_position": late_mm, "trigger_margin": late_mm}
    moves |= {"release_position": -late_mm, "release_height": late_mm}
    return {name: None if truth is None else truth + moves.get(name, 0.0) for name, truth in truths.items()}


def a_key(manner: LetOffManner, random: np.random.Generator) -> KeySpec:
    """Return a key with a let-off of this manner, all else drawn."""
    name = ("fern", "moss")[random.integers(2)]
    drawn = load_scenario(name).model_copy(update={"seed": int(random.integers(2**31)), "faults": ()})
    sharp = bool(random.integers(2))
    key = random.choice([key for key in keyboard_of(drawn) if is_sharp(key.number) == sharp])
    action = key.action
    friction = action.friction
    grips = friction.coulomb_newton * random.uniform(0.5, 1.6)
    lifts = random.uniform(0.08, 0.55)
    letoff = a_letoff(manner, action.letoff.crest_mm, lifts, random)
    starts_mm = letoff.crest_mm + random.uniform(0.9, 1.6) * letoff.fall_mm
    ugly = replace(
        action,
        balance_newton=grips + lifts,
        friction=replace(friction, coulomb_newton=grips, static_newton=random.uniform(1.05, 1.3) * grips),
        break_away_newton=random.choice((0.0, random.uniform(0.0, 0.3))),
        damper=replace(action.damper, height_newton=random.choice((0.0, random.uniform(0.06, 0.3)))),
        letoff=letoff,
        bed=replace(action.bed, start_mm=starts_mm, stiffness=action.bed.stiffness * random.uniform(0.6, 1.5)),
    )
    sounds_mm = letoff.crest_mm + random.uniform(-0.5, 0.5) * letoff.fall_mm
    return replace(key, action=ugly, note=replace(key.note, on_mm=sounds_mm))


def a_letoff(manner: LetOffManner, crest_mm: float, lifts_newton: float, random: np.random.Generator) -> LetOffSpec:
    """Return a let-off: heights in N, widths in mm of the key's way; it never holds a key that lifts so much."""
    height, rise, fall = {
        "plain": (random.uniform(0.10, 0.25), random.uniform(0.9, 1.6), random.uniform(0.4, 0.8)),
        "crisp": (random.uniform(0.15, 0.40), random.uniform(0.5, 0.8), random.uniform(0.25, 0.35)),
        "wide": (random.uniform(0.10, 0.30), random.uniform(1.6, 2.4), random.uniform(0.8, 1.2)),
        "faint": (random.uniform(0.055, 0.09), random.uniform(0.8, 1.4), random.uniform(0.35, 0.7)),
        "late": (random.uniform(0.10, 0.25), random.uniform(0.9, 1.4), random.uniform(0.3, 0.5)),
        "none": (0.0, 1.0, 0.5),
    }[manner]
    later_mm = random.uniform(0.2, 0.5) if manner == "late" else random.uniform(-0.6, 0.2)
    return LetOffSpec(
        crest_mm=crest_mm + later_mm,
        height_newton=height,
        rise_mm=rise,
        fall_mm=fall,
        return_newton=min(random.uniform(0.0, 0.4) * height, 0.5 * lifts_newton),
    )


def default_rig(random: np.random.Generator) -> BenchSpec:
    """Return the default rig: only its zero, the drift's direction and the screw's wobble are drawn."""
    sensors = SensorSpec(
        drift_newton_per_s=0.00005 * random.uniform(-1.0, 1.0), force_zero_newton=random.uniform(-0.1, 0.1)
    )
    stage = StageSpec(ripple_mm=0.006 * random.uniform(0.0, 1.5))
    return BenchSpec(sensors=sensors, stage=stage, seed=int(random.integers(2**31)))


def any_rig(random: np.random.Generator) -> BenchSpec:
    """Return a rig from slow, coarse and noisy to fast, fine and quiet."""
    noise = 2.0 ** random.uniform(-1.0, 2.0)
    rate_hz = int(random.choice(RATES_HZ))
    plain = SensorSpec()
    sensors = SensorSpec(
        force_noise_newton=noise * plain.force_noise_newton,
        hum_newton=noise * plain.hum_newton,
        hum_hz=float(random.choice((50.0, 60.0))),
        drift_newton_per_s=0.00005 * random.uniform(-2.0, 2.0),
        drift_walk_newton=plain.drift_walk_newton * float(np.sqrt(1000.0 / rate_hz)),
        force_zero_newton=random.uniform(-0.1, 0.1),
        displacement_counts_per_mm=1000.0 / float(random.choice(GAUGE_STEPS_UM)),
        displacement_noise_mm=noise * plain.displacement_noise_mm,
    )
    stage = StageSpec(ripple_mm=0.006 * random.uniform(0.0, 2.0))
    return BenchSpec(sample_rate_hz=rate_hz, sensors=sensors, stage=stage, seed=int(random.integers(2**31)))
