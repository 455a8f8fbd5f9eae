"""The mass of keys that are made of a mass, a drag and a slow force: F = F_slow + m a + c v."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.dynamics.mass import mass_from_ladder
from processing.dynamics.presses import Press
from processing.stages import Branch
from tests.builders import a_curve
from tests.processing.ladders import KNOBS, Ramp, a_press

X = np.arange(0.0, 10.0, 0.01)
SLOW = a_curve(X, np.full(len(X), 0.5))
RAMPS = tuple(Ramp(speed=speed, rate_hz=1000.0) for speed in (5.0, 10.0, 20.0, 50.0, 80.0))


def moved(ramp: Ramp, *, kg: float, drag: float = 0.0, zero: float = 0.0, noise: float = 0.0, seed: int = 1) -> Press:
    press, time_s = a_press(ramp), ramp.times()
    speed = np.gradient(ramp.way(time_s), time_s)
    force = 0.5 + kg * ramp.bent(time_s) / 1000.0 + drag * speed + zero
    force += noise * np.random.default_rng(seed).standard_normal(len(force))
    return replace(press, down=Branch(time_s, ramp.way(time_s), force))


@pytest.mark.parametrize("kg", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("drag", [0.0, 0.0005])
@pytest.mark.parametrize("zero", [0.0, 0.004])
def test_a_ladder_gives_its_mass_back_whatever_the_drag_and_the_zero(kg: float, drag: float, zero: float) -> None:
    """Edges of the ramp fall between samples: half a sample of 1 ms in a ramp of 10 ms is 5 %, told as a bound."""
    found = mass_from_ladder(
        [moved(ramp, kg=kg, drag=drag, zero=zero) for ramp in RAMPS], SLOW, until_mm=7.0, settings=KNOBS
    )

    assert found is not None
    assert abs(found.kg - kg) <= found.moment_bound_kg + 0.002
    assert found.moment_bound_kg <= 0.06 * kg


def test_noise_shows_in_the_uncertainty() -> None:
    errors, us = [], []
    for seed in range(12):
        presses = [moved(ramp, kg=0.2, noise=0.02, seed=10 * seed + at) for at, ramp in enumerate(RAMPS)]
        found = mass_from_ladder(presses, SLOW, until_mm=7.0, settings=KNOBS)
        assert found is not None
        errors.append(found.kg - 0.2)
        us.append(float(np.hypot(found.u_kg, found.moment_bound_kg / 3.0**0.5)))

    assert np.sqrt(np.mean(np.square(errors))) < 2.0 * np.median(us)
    assert np.median(us) < 0.05


def test_gentle_strokes_tell_no_mass() -> None:
    gentle = [Ramp(speed=speed, acceleration=100.0, rate_hz=1000.0) for speed in (4.0, 5.0, 8.0)]

    assert mass_from_ladder([moved(ramp, kg=0.2) for ramp in gentle], SLOW, until_mm=7.0, settings=KNOBS) is None


def test_moments_in_which_the_key_is_off_the_plunger_do_not_count() -> None:
    presses = [moved(ramp, kg=0.2) for ramp in RAMPS]
    flying = [
        replace(press, down=replace(press.down, force_newton=np.zeros(len(press.down.way_mm)))) for press in presses
    ]

    assert mass_from_ladder(flying, SLOW, until_mm=7.0, settings=KNOBS) is None
