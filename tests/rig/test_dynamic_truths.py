"""What the model says of its own keys in motion, against the keys' numbers and the sensor's own law."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rig.virtual.dynamic_truths import true_dynamics, true_speed_for
from rig.virtual.notes import NoteSensor, velocity_of
from rig.virtual.truths import true_features
from tests.daq.rigs import KEYS

KEY = KEYS[39]


@pytest.mark.parametrize("velocity", [1, 16, 64, 127])
def test_the_speed_for_a_velocity_gives_that_velocity(velocity: int) -> None:
    assert velocity_of(true_speed_for(velocity)) == velocity


def test_reset_and_window_add_up_to_the_height_of_release() -> None:
    truths, features = true_dynamics(KEY), true_features(KEY)
    reset, window = truths["reset_height"], truths["sustain_window"]

    assert reset is not None
    assert window is not None
    assert reset + window == pytest.approx(features["release_height"])


def test_a_stuck_note_has_no_window() -> None:
    assert true_dynamics(replace(KEY, note=replace(KEY.note, stuck=True)))["sustain_window"] is None


def test_latency_is_what_a_sensor_watched_at_that_rate_shows_on_average() -> None:
    """A key led by hand at 10 mm/s past its place, in every phase of the samples; the bench's own step is left out."""
    late_us = []
    for phase_us in range(0, 1000, 50):
        sensor = NoteSensor(KEY.note, midi_note=60)
        for tick_us in range(0, 2_000_000, 1000):
            if said := sensor.watch((tick_us + phase_us) * 1e-6 * 10.0, tick_us):
                late_us.append(said[0][0] + phase_us - KEY.note.on_mm / 10.0 * 1e6)
                break

    step_ms = 0.5
    assert true_dynamics(KEY)["note_latency"] == pytest.approx(sum(late_us) / len(late_us) / 1e3 - step_ms, abs=0.05)
