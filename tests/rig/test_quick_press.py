"""Quick presses: the mechanism's own curve under a plunger, as the whole bench shows it but for what moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.pressing import press_by_motor
from rig.virtual.bench import BenchSpec
from rig.virtual.quick_press import led_curve, press_quickly
from rig.virtual.scenario import KeySpec, keyboard_of, load_scenario
from rig.virtual.sensors import SensorSpec
from rig.virtual.truths import true_curve, true_features

QUIET = BenchSpec(
    sensors=SensorSpec(
        force_noise_newton=0.0,
        hum_newton=0.0,
        drift_newton_per_s=0.0,
        drift_walk_newton=0.0,
        force_zero_newton=0.0,
        displacement_noise_mm=0.0,
    )
)
NOTE_ON, NOTE_OFF = 0x90, 0x80


@pytest.fixture(scope="module")
def key() -> KeySpec:
    return keyboard_of(load_scenario("moss"))[39]


def test_coarse_steps_find_the_curve_that_fine_ones_find(key: KeySpec) -> None:
    quick, fine = led_curve(key).even(), true_curve(key)

    way = np.arange(0.05, fine.way_mm[-1] - 0.05, 0.01)
    for name in ("down_newton", "up_newton"):
        ours, theirs = (np.interp(way, curve.way_mm, getattr(curve, name)) for curve in (quick, fine))
        assert np.abs(ours - theirs).max() < 0.004


def test_truths_of_the_quick_curve_are_those_of_the_fine_one(key: KeySpec) -> None:
    quick, fine = true_features(key, curve=led_curve(key).even()), true_features(key)

    for name, value in fine.items():
        assert quick[name] == (None if value is None else pytest.approx(value, abs=0.004)), name


def test_it_shows_what_the_whole_bench_shows(key: KeySpec) -> None:
    """Between touch and notch, where inertia has no part: the bench's rests, notch and bed ring."""
    trace, _ = press_by_motor(key, QUIET, np.random.default_rng(1))
    samples, _ = press_quickly(key, led_curve(key), QUIET, np.random.default_rng(1))
    at = np.arange(2.0, 7.0, 0.05) + key.surface_mm
    bench, quick = (
        np.interp(at, *_first_way_down(shown.displacement_counts / 500.0, shown.force_counts / 20000.0))
        for shown in (trace, samples.view(np.recarray))
    )

    assert np.abs(bench - quick).max() < 0.002


def _first_way_down(place_mm: np.ndarray, newton: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    deepest = int(np.argmax(newton > 3.9))
    late = QUIET.sensors.force_delay_samples
    return place_mm[: deepest - late], newton[late:deepest]


def test_every_stroke_sounds_once_and_ends(key: KeySpec) -> None:
    samples, events = press_quickly(key, led_curve(key), BenchSpec(), np.random.default_rng(1), strokes=4)

    assert list(events["byte"][::3]) == [NOTE_ON, NOTE_OFF] * 4
    assert events["byte"][1] == key.number + 20
    assert events["tick_us"].max() < samples["tick_us"].max()
    stuck = replace(key, note=replace(key.note, stuck=True))
    _, said = press_quickly(stuck, led_curve(stuck), BenchSpec(), np.random.default_rng(1))
    assert list(said["byte"][::3]) == [NOTE_ON] * 3


def test_the_same_seed_makes_the_same_samples(key: KeySpec) -> None:
    one, other = (press_quickly(key, led_curve(key), BenchSpec(seed=3), np.random.default_rng(1)) for _ in range(2))

    assert np.array_equal(one[0], other[0])
