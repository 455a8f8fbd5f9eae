"""The friction of the virtual key against the published model and closed forms."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from rig.virtual.friction import FrictionSpec, LuGreFriction

TEXTBOOK = FrictionSpec(
    coulomb_newton=1.0,
    static_newton=1.5,
    stribeck_mm_per_s=1.0,
    bristle_newton_per_mm=100.0,
    bristle_damping_newton_s_per_mm=0.3162,
    viscous_newton_s_per_mm=0.0004,
)
"""Canudas de Wit et al. 1995: sigma0 1e5 N/m, sigma1 316.2 N s/m, sigma2 0.4 N s/m, Fc 1 N, Fs 1.5 N, vs 1 mm/s."""


@pytest.mark.parametrize(
    ("speed_mm_per_s", "force_newton"),
    [(0.1, 1.49506), (1.0, 1.18434), (2.0, 1.00996), (5.0, 1.0020)],
    ids=lambda value: f"{value:g}",
)
def test_steady_sliding_takes_the_published_force(speed_mm_per_s: float, force_newton: float) -> None:
    friction = LuGreFriction(TEXTBOOK)
    for _ in range(20_000):
        force = friction.advance(speed_mm_per_s, 1e-4)

    assert force == pytest.approx(force_newton, abs=1e-5)  # five printed decimals


def test_the_published_forces_follow_from_the_published_parameters() -> None:
    assert 1.0 + 0.5 * exp(-(0.1**2)) + 0.4e-3 * 0.1 == pytest.approx(1.49506, abs=1e-5)


def test_before_it_slides_it_is_a_spring() -> None:
    """Presliding stretch Fs / sigma0 = 15 um: after 1 um of way the force is sigma0 * 1 um, less a few per cent."""
    friction = LuGreFriction(TEXTBOOK)
    for _ in range(100):
        force = friction.advance(0.01, 1e-3)

    spring = 100.0 * 0.001
    assert force - 0.3162 * 0.01 == pytest.approx(spring, rel=0.05)


def test_it_sticks_it_does_not_creep() -> None:
    """At rest under a bent bristle the force stays: a tanh law would let it fall to zero."""
    friction = LuGreFriction(TEXTBOOK)
    for _ in range(1000):
        friction.advance(1.0, 1e-4)
    held = [friction.advance(0.0, 1e-3) for _ in range(10_000)]

    assert held[-1] == pytest.approx(held[1])
    assert held[-1] > 1.0


def test_a_coulomb_loop_loses_four_times_force_times_amplitude() -> None:
    """Closed form of Coulomb friction over a full cycle of amplitude A: 4 Fc A (own, elementary)."""
    spec = FrictionSpec(coulomb_newton=0.12, static_newton=0.12, viscous_newton_s_per_mm=0.0)
    friction, amplitude, dt = LuGreFriction(spec), 4.0, 1e-4
    time = np.arange(0.0, 4.0, dt)
    velocity = amplitude * np.pi * np.cos(np.pi * time)  # two cycles of 2 s; the first settles the bristles
    force = np.array([friction.advance(v, dt) for v in velocity.tolist()])

    lost = float(np.sum((force * velocity * dt)[time >= 2.0]))
    presliding = (
        2.0 * spec.coulomb_newton / spec.bristle_newton_per_mm
    )  # way per turn over which the force changes sign
    assert lost == pytest.approx(4.0 * 0.12 * amplitude, rel=3.0 * presliding / amplitude)


@pytest.mark.parametrize("dt_s", [1e-2, 1e-3, 1e-4])
def test_the_step_may_be_long(dt_s: float) -> None:
    friction = LuGreFriction(TEXTBOOK)
    for _ in range(1000):
        force = friction.advance(50.0, dt_s)

    assert force == pytest.approx(1.0 + 0.4e-3 * 50.0, abs=1e-6)
