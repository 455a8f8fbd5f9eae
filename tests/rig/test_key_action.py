"""The virtual key against closed forms of mechanics and figures of the trade."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from rig.virtual.elements import Damper, DamperSpec, Felt, FeltSpec, Grit, LetOff, LetOffSpec, RestStop, StickBond
from rig.virtual.friction import FrictionSpec
from rig.virtual.key_action import ActionSpec, Contact, KeyAction

NOTHING = ActionSpec(
    effective_mass_kg=0.35,
    balance_newton=0.5,
    spring_newton_per_mm=0.0,
    friction=FrictionSpec(coulomb_newton=0.0, static_newton=0.0, viscous_newton_s_per_mm=0.0),
    break_away_newton=0.0,
    break_away_mm=0.1,
    damper=DamperSpec(start_mm=4.0, width_mm=0.5, height_newton=0.0),
    letoff=LetOffSpec(crest_mm=8.0, height_newton=0.0, rise_mm=1.0, fall_mm=0.5, return_newton=0.0),
    bed=FeltSpec(start_mm=100.0, stiffness=10.0),
)
"""A key with mass and balance force only."""


def test_a_constant_force_brings_the_key_down_in_153_ms() -> None:
    """sqrt(2 * 0.010 m / (0.30 N / 0.35 kg)) = 153 ms; the literature says about 150 ms (field values, exact)."""
    action, dt, elapsed = KeyAction(NOTHING), 1e-5, 0.0
    action.key_mm = 0.0
    while action.key_mm < 10.0:
        action.advance(0.8, dt)
        elapsed += dt

    assert elapsed == pytest.approx(sqrt(2.0 * 0.010 / (0.30 / 0.35)), rel=1e-3)
    assert elapsed == pytest.approx(0.153, abs=0.0005)


def test_a_key_on_a_spring_swings_with_the_period_of_mass_and_spring() -> None:
    """T = 2 pi sqrt(m / k): a key of 0.35 kg on 1 N/mm swings in 117.5 ms."""
    action = KeyAction(replace(NOTHING, balance_newton=0.0, spring_newton_per_mm=1.0))
    action.key_mm, dt, crossings, now = 2.0, 1e-5, [], 0.0
    action.elements = ()
    for _ in range(60_000):
        before = action.key_mm
        action.advance(0.0, dt)
        now += dt
        if before > 0.0 >= action.key_mm:
            crossings.append(now)

    assert np.diff(crossings).mean() == pytest.approx(2.0 * np.pi * sqrt(0.35 / 1000.0), rel=1e-4)


def test_a_resting_key_stays_at_rest() -> None:
    action = KeyAction(NOTHING)
    rest = action.key_mm
    for _ in range(1000):
        action.advance(0.0, 5e-4)

    assert action.key_mm == pytest.approx(rest, abs=1e-9)


def test_felt_loses_the_share_that_its_exponents_say() -> None:
    """Load 2.1, unload 3.5 at a common peak lose 1 - 3.1 / 4.5 = 31.1 % (exponents: Boutillon, JASA 83:746, 1988)."""
    felt = Felt(FeltSpec(start_mm=0.0, stiffness=12.0, load_exponent=2.1, unload_exponent=3.5))
    depth = np.linspace(0.0, 0.5, 2001)
    load = np.array([felt.force(d) for d in depth.tolist()])
    unload = np.array([felt.force(d) for d in depth[::-1].tolist()])[::-1]
    put_in, given_back = np.trapezoid(load, depth), np.trapezoid(unload, depth)

    assert 1.0 - given_back / put_in == pytest.approx(1.0 - 3.1 / 4.5, abs=1e-4)
    assert put_in == pytest.approx(12.0 * 0.5**3.1 / 3.1, rel=1e-4)


def test_felt_pressed_further_goes_on_where_it_left_off() -> None:
    felt = Felt(FeltSpec(start_mm=0.0, stiffness=12.0))
    felt.force(0.3)
    felt.force(0.1)

    assert felt.force(0.3) == pytest.approx(12.0 * 0.3**2.1)
    assert felt.force(0.4) == pytest.approx(12.0 * 0.4**2.1)


RIDGE = LetOffSpec(crest_mm=8.0, height_newton=0.2, rise_mm=1.0, fall_mm=0.5, return_newton=0.05)


def test_the_ridge_is_as_high_as_specified_and_nothing_jumps() -> None:
    letoff = LetOff(RIDGE)
    way = np.arange(6.0, 9.0, 0.001)
    down = np.array([letoff.force(x) for x in way.tolist()])
    up = np.array([letoff.force(x) for x in way[::-1].tolist()])

    assert down.max() == pytest.approx(0.2)
    assert way[down.argmax()] == pytest.approx(8.0)
    assert up.min() == pytest.approx(-0.05, abs=1e-6)
    assert np.abs(np.diff(np.concatenate([down, up]))).max() < 0.001


def test_a_key_let_up_before_the_crest_gives_the_force_back() -> None:
    letoff = LetOff(RIDGE)
    way = np.arange(6.5, 7.8, 0.01).tolist()
    down, up = [letoff.force(x) for x in way], [letoff.force(x) for x in reversed(way)]

    assert down == pytest.approx(up[::-1])


def test_a_tripped_letoff_is_set_again_only_before_the_ridge() -> None:
    letoff = LetOff(RIDGE)
    letoff.force(9.0)

    assert letoff.force(7.9) < 0.0
    letoff.force(6.9)
    assert letoff.force(7.9) > 0.0


def test_the_damper_is_half_up_in_the_middle_of_its_width() -> None:
    damper = Damper(DamperSpec(start_mm=4.0, width_mm=0.6, height_newton=0.08))

    assert [damper.force(x) for x in (3.9, 4.3, 4.7)] == pytest.approx([0.0, 0.04, 0.08])


def test_the_bond_is_strongest_at_its_length_and_forms_again_at_rest() -> None:
    bond = StickBond(0.2, 0.1)

    assert bond.force(0.1) == pytest.approx(0.2)
    bond.force(0.9)
    assert bond.force(0.1) == 0.0
    bond.force(-0.01)
    assert bond.force(0.1) == pytest.approx(0.2)


def test_the_rest_stop_only_pushes_down() -> None:
    assert [RestStop(30.0).force(x) for x in (-0.01, 0.0, 1.0)] == pytest.approx([-0.3, 0.0, 0.0])


def test_clean_parts_grip_evenly_and_gritty_ones_do_not() -> None:
    places = np.linspace(0.0, 10.0, 500).tolist()

    assert {Grit(0.0, (1.0,)).grip(x) for x in places} == {1.0}
    assert np.std([Grit(0.6, (1.0, 2.0, 3.0)).grip(x) for x in places]) > 0.1


def test_the_plunger_pushes_and_never_pulls() -> None:
    action, contact = KeyAction(NOTHING), Contact(50.0)

    assert contact.force(action.key_mm - 1.0, -100.0, action) == 0.0
    assert contact.force(action.key_mm + 0.01, 0.0, action) == pytest.approx(0.5)


def test_a_key_led_by_the_plunger_takes_balance_plus_friction() -> None:
    """D = balance + friction (identity of the trade, common practice): the mean force of a slow press."""
    friction = FrictionSpec(coulomb_newton=0.12, static_newton=0.12, viscous_newton_s_per_mm=0.0)
    action, contact, dt = KeyAction(replace(NOTHING, friction=friction, effective_mass_kg=0.2)), Contact(50.0), 5e-4
    plunger, forces = action.key_mm, []
    while plunger < 5.0:
        plunger += 4.0 * dt
        force = contact.force(plunger, 4.0, action)
        action.advance(force, dt)
        forces.append(force)

    assert np.mean(forces[len(forces) // 2 :]) == pytest.approx(0.62, abs=0.001)
