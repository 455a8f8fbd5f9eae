"""Reference objects at the virtual bench against their closed forms, and an operator whose slips change nothing."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recordings.keys import ALL_KEYS
from rig.virtual.bench import BenchSpec
from rig.virtual.cue_follower import CueFollower
from rig.virtual.frame import Frame
from rig.virtual.hand import HandSpec
from rig.virtual.person import VirtualPerson
from rig.virtual.virtual_rig import VirtualRig
from rig.virtual.workbench import Workbench, key_number
from rig.virtual.workbench_file import load_workbench
from tests.rig.benches import GRAVITY, KEYS, QUIET, AtTheBench, truths

CONVENTIONAL = 1.0 - 1.2 / 8000.0
"""OIML D 28: a conventional mass of 1 kg pushes with this share of 1 kg times g in air of 1.2 kg/m3, at any density."""


def test_masses_push_by_their_conventional_mass_in_conventional_air() -> None:
    at = AtTheBench()
    at.shown(0.1)

    at.say("pan m100 m200")
    force, _ = at.shown(0.1)

    assert force[-1] == pytest.approx((0.100002 + 0.199995) * GRAVITY * CONVENTIONAL, abs=1.5e-6)
    at.say("pan")
    assert at.shown(0.1)[0][-1] == 0.0


@pytest.mark.parametrize(
    ("density", "true_kg"),
    [
        pytest.param(8000.0, 1.0, id="8000 kg/m3: true mass is conventional mass"),
        pytest.param(2700.0, 1.0 * (1 - 1.2 / 8000) / (1 - 1.2 / 2700), id="aluminium: 1.000294 kg"),
    ],
)
def test_thinner_air_lifts_a_mass_less_the_lighter_it_is(density: float, true_kg: float) -> None:
    """Archimedes: F = m g - rho_air V g with V = m / rho."""
    mass = {"name": "kilo", "nominal_g": 1000.0, "true_conventional_g": 1000.0, "density_kg_per_m3": density}
    truth = truths(air_density_kg_per_m3=0.9, masses=[mass])

    found = truth.pan_newton(["kilo"])

    assert found == pytest.approx(true_kg * GRAVITY - 0.9 * (true_kg / density) * GRAVITY, rel=1e-14)


def test_a_mass_shows_within_the_noise_of_an_ordinary_cell() -> None:
    at = AtTheBench(spec=BenchSpec())
    before, _ = at.shown(2.0)

    at.say("pan m100")
    at.shown(0.1)
    after, _ = at.shown(2.0)

    standard_error = 0.003 * np.sqrt(2.0 / 2000.0)
    assert after.mean() - before.mean() == pytest.approx(0.100002 * GRAVITY * CONVENTIONAL, abs=4.5 * standard_error)
    assert after.std() == pytest.approx(0.0032, rel=0.1)  # noise 3 mN and hum 1.5 mN / sqrt 2


def test_a_finger_pushes_as_long_as_was_said() -> None:
    at = AtTheBench()

    at.say("touch 0.3 2")
    force, _ = at.shown(3.0)

    pushed = np.flatnonzero(force)
    assert len(pushed) == 2000
    assert np.ptp(pushed) == 1999  # without a gap
    assert force[pushed] == pytest.approx(np.full(2000, 0.3), abs=1e-6)


def test_the_zero_drifts_from_the_moment_on_that_was_said() -> None:
    at = AtTheBench(truths(force={"zero_newton": 0.02}))
    still, _ = at.shown(1.0)

    at.say("drift 0.001")
    force, _ = at.shown(2.0)

    assert still.tolist() == [0.02] * 1000
    assert force[-1] - force[0] == pytest.approx(0.001 * 1.999, abs=2e-6)


def test_a_block_stands_as_much_higher_than_another_as_it_is_longer() -> None:
    at, touched = AtTheBench(), []
    for thing in ("table", "block b5", "block b15"):
        at.say(f"under {thing}")
        force, place = at.go(22.3 - {"table": 0.0, "block b5": 5.0, "block b15": 15.0}[thing])
        late = QUIET.force_delay_samples
        touched.append(float(np.interp(2.0, force[late:], place[: len(place) - late])))
        at.go(0.0, 50.0)

    assert touched[0] == pytest.approx(22.0 + 2.0 / 50.0, abs=2e-5)  # the frame gives 2 N / (50 N/mm)
    assert touched[0] - touched[1] == pytest.approx(5.0003, abs=2e-5)
    assert touched[1] - touched[2] == pytest.approx(14.9996 - 5.0003, abs=2e-5)


def test_the_gauge_shows_less_on_the_way_down_than_on_the_way_up() -> None:
    """Play b: x - b/2 going down, x + b/2 going up, all of it short by the scale error."""
    at = AtTheBench(truths(displacement={"backlash_mm": 0.05, "scale_error": 0.01}))
    at.say("under nothing")

    down = at.go(10.0)[1][-1]
    at.go(12.0)
    up = at.go(10.0)[1][-1]

    assert down == pytest.approx((10.0 - 0.025) / 1.01, abs=1e-5)
    assert up == pytest.approx((10.0 + 0.025) / 1.01, abs=1e-5)


def test_the_gauge_stands_still_within_its_dead_band() -> None:
    at = AtTheBench(truths(displacement={"backlash_mm": 0.05}))
    at.say("under nothing")
    at.go(10.0)

    assert at.go(9.96)[1][-1] == pytest.approx(9.975, abs=1e-5)
    assert at.go(9.94)[1][-1] == pytest.approx(9.965, abs=1e-5)


def test_the_frame_gives_on_a_stop_as_its_closed_form_says() -> None:
    at = AtTheBench(truths(frame={"stiffness_newton_per_mm": 40.0, "stiffening_newton_per_mm2": 200.0}))
    at.say("under stop")

    force, place = at.go(10.1, 0.5)

    pressed = np.maximum(place[:-2] - 10.0, 0.0)
    assert force[2:] == pytest.approx(40.0 * pressed + 200.0 * pressed**2, abs=1e-3)  # 10 nm * 80 N/mm
    assert force[-1] == pytest.approx(4.0 + 2.0, abs=1e-3)


@given(st.floats(0.1, 20.0), st.floats(5.0, 200.0), st.floats(0.0, 2000.0), st.floats(0.0, 10.0))
@settings(max_examples=50)
def test_frame_and_reference_share_the_way(force: float, k: float, q: float, softness: float) -> None:
    """In series both carry the force: pressed together they give the frame's give plus softness times force."""
    frame = Frame(k, q)

    assert frame.force_newton(frame.give_mm(force) + softness * force, softness) == pytest.approx(force, rel=1e-9)


@given(st.floats(0.0, 20.0), st.floats(0.0, 20.0))
@settings(max_examples=30)
def test_a_frame_never_gives_less_under_more_force(one: float, other: float) -> None:
    frame = Frame(41.0, 130.0)
    low, high = sorted((one, other))

    assert frame.give_mm(low) <= frame.give_mm(high)


@pytest.mark.parametrize("skew_us", [0.0, 640.0, 1700.0])
def test_the_loop_on_a_spring_is_as_wide_as_speed_and_skew_make_it(skew_us: float) -> None:
    """Down less up, at one place: 2 k v tau, with k that of spring and frame in series; source: F(t) = k x(t - tau)."""
    at = AtTheBench(truths(force={"skew_us": skew_us}))
    k = 1.0 / (1.0 / 0.8 + 1.0 / 50.0)
    at.say("under spring")
    for speed in (5.0, 20.0):
        at.go(5.0, 50.0)
        down_force, down_place = at.go(11.0, speed)
        up_force, up_place = at.go(5.0, speed)

        down = np.interp(9.0, down_place, down_force)
        up = np.interp(-9.0, -up_place, up_force)
        late_s = 0.002 + skew_us * 1e-6  # two samples are what the rig states
        assert up - down == pytest.approx(2.0 * k * speed * late_s, abs=5e-5)


def test_rising_load_shows_too_little_and_falling_load_too_much() -> None:
    """The way from one to the other is 0.4 N of load; the loop is 2 h wide and ends h high without load."""
    at = AtTheBench(truths(force={"hysteresis_newton": 0.001, "hysteresis_way_newton": 0.4}))
    loads = {"m100": 0.100002 * GRAVITY * CONVENTIONAL, "m200": 0.199995 * GRAVITY * CONVENTIONAL}
    read = {}
    for step, line in enumerate(("pan m100", "pan m100 m200", "pan m200", "pan")):
        at.say(line)
        read[step] = at.shown(0.1)[0][-1]

    assert read[0] == pytest.approx(loads["m100"] - 0.001, abs=2e-6)
    assert read[1] == pytest.approx(loads["m100"] + loads["m200"] - 0.001, abs=2e-6)
    assert read[2] == pytest.approx(loads["m200"] + 0.001, abs=2e-6)
    assert read[3] == pytest.approx(0.001, abs=2e-6)


def test_a_load_that_stays_creeps_by_its_exponential() -> None:
    at = AtTheBench(truths(force={"creep_share": 0.01, "creep_s": 2.0}))
    load = 0.100002 * GRAVITY * CONVENTIONAL
    at.say("pan m100")

    force, _ = at.shown(10.0)

    for seconds in (0.5, 2.0, 9.0):  # the load is there from sample 0 on and shows two samples later
        crept = 0.01 * load * (1.0 - exp(-(seconds + 0.001) / 2.0))
        assert force[round(seconds * 1000) + 2] == pytest.approx(load + crept, abs=2e-6)
    at.say("pan")
    assert at.shown(1.0)[0][-1] == pytest.approx(0.01 * load * exp(-0.998 / 2.0), rel=0.01)


@given(st.floats(-0.1, 0.1), st.floats(-0.001, 0.001))
@settings(max_examples=25)
def test_what_the_cell_shows_obeys_its_parabola(scale_error: float, quadratic: float) -> None:
    at = AtTheBench(truths(force={"scale_error": scale_error, "quadratic_per_newton": quadratic}))
    at.say("pan m100 m200")

    shown = at.shown(0.01)[0][-1]

    load = (0.100002 + 0.199995) * GRAVITY * CONVENTIONAL
    assert shown * (1.0 + scale_error) + quadratic * shown**2 == pytest.approx(load, abs=2e-6)


def test_a_key_feels_the_stiffening_frame_too() -> None:
    """The same key at 2.5 N on its bed: the gauge shows as much more as the softer frame gives more."""
    soft = {"stiffness_newton_per_mm": 20.0}
    stiff = {"stiffness_newton_per_mm": 50.0, "stiffening_newton_per_mm2": 400.0}
    places = []
    for frame in (soft, stiff):
        at = AtTheBench(truths(frame=frame))
        at.say("under key C4")
        force, place = at.go(14.0, 4.0)
        places.append(float(np.interp(2.5, force[2:][force[2:] > 1.5], place[:-2][force[2:] > 1.5])))

    assert places[0] - places[1] == pytest.approx(Frame(20.0).give_mm(2.5) - Frame(50.0, 400.0).give_mm(2.5), abs=0.004)


def by_hand(**changed: object) -> AtTheBench:
    """A calm person holds the plunger."""
    calm = HandSpec(tremor_mm=0.0, waver=0.0)
    return AtTheBench(truths(**changed), person=VirtualPerson(station=1, seed=1, hand=calm))


def until_idle(at: AtTheBench) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    shown = [at.shown(0.1)]
    assert at.bench.person is not None
    while not at.bench.person.idle:
        shown.append(at.shown(0.1))
        assert len(shown) < 600, "the person does not finish"
    force, place = zip(*shown, strict=True)
    return np.concatenate(force), np.concatenate(place)


@pytest.mark.parametrize("thing", ["table", "block b15", "stop", "spring", "key A0"])
def test_a_person_presses_what_is_there_to_about_five_newtons_and_lets_go(thing: str) -> None:
    at = by_hand()
    at.say(f"under {thing}")

    at.say("press")
    force, place = until_idle(at)

    assert 5.0 <= force.max() < 5.5
    assert force[-1] == 0.0
    assert place[-1] == pytest.approx(HandSpec().rest_mm, abs=0.01)


def test_a_person_strokes_the_spring_at_about_the_speed_that_was_said() -> None:
    at = by_hand()
    at.say("under spring")

    at.say("stroke 20")
    force, place = until_idle(at)

    speed = np.abs(np.gradient(place, 0.001))[(force > 1.5) & (force < 4.0)]
    assert np.median(speed) == pytest.approx(20.0, rel=0.1)
    assert force.max() < 8.0


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("", "say one of pan, touch, drift, under, press, stroke"),
        ("lift m100", "say one of pan"),
        ("pan m99", "no mass 'm99'; there are m100, m200"),
        ("pan m100 m100", "only one 'm100'"),
        ("touch 0.3", "touch NEWTON SECONDS"),
        ("touch 0.3 forever", "touch NEWTON SECONDS"),
        ("touch 0.3 -1", "for up to 600 s"),
        ("touch 99 1", "up to 10 N"),
        ("touch nan 1", "touch NEWTON SECONDS"),
        ("drift", "drift NEWTON_PER_SECOND"),
        ("drift 5", "0.1 N/s at most"),
        ("drift inf", "with numbers"),
        ("under", "say under table"),
        ("under the table", "say under table"),
        ("under block b7", "no block 'b7'; there are b5, b15"),
        ("under key H4", "no key 'H4'"),
        ("under key C9", "no key 'C9'"),
        ("press", "a motor holds the plunger"),
        ("press hard", "press alone"),
        ("stroke 20", "a motor holds the plunger"),
        ("stroke 0", "up to 100 mm/s"),
    ],
)
def test_a_line_that_cannot_be_obeyed_says_why_and_changes_nothing(line: str, why: str) -> None:
    at = AtTheBench()
    at.say("under stop")
    at.say("pan m100")
    at.shown(0.1)
    before = at.shown(0.01)

    assert why in at.refused(line)

    after = at.shown(0.05)
    assert set(after[0]) == set(before[0])
    assert set(after[1]) == set(before[1])
    assert at.bench.under is not None
    assert at.bench.under.name == "stop"


WORDS = st.sampled_from(["pan", "touch", "drift", "under", "press", "stroke", "key", "block", "m100", "1e999", "-0"])


@given(st.lists(WORDS | st.text(max_size=6) | st.floats().map(str), max_size=4))
@settings(max_examples=100)
def test_no_line_at_all_brings_the_operator_down(words: list[str]) -> None:
    answer = Workbench(AtTheBench().bench).obey(" ".join(words))

    assert answer.startswith(("ok ", "no: "))
    assert len(answer.splitlines()) == 1


def test_nothing_is_put_where_the_plunger_is_in_the_way() -> None:
    at = AtTheBench()
    at.say("under nothing")
    at.go(9.9)

    assert "9.9 mm down; bring it up first" in at.refused("under stop")
    assert "9.9 mm down" in at.refused("under key C4")
    at.say("under table")


def test_nothing_is_changed_while_the_plunger_moves_or_presses() -> None:
    at = AtTheBench()
    at.say("under stop")
    at.go(10.05)
    assert "presses on something" in at.refused("pan m100")

    at.bench.stage.go(0.0, 2.0, 1000.0)
    at.shown(0.1)
    assert "moves" in at.refused("under spring")
    assert "moves" in at.refused("pan")


def test_a_person_presses_no_air() -> None:
    at = by_hand()
    at.say("under nothing")

    assert at.refused("press") == "there is nothing under the plunger"


def test_there_is_a_key_under_the_plunger_again_once_it_was_carried_on() -> None:
    at = AtTheBench()
    at.say("under stop")

    at.bench.carry_to(41)

    assert at.bench.under is None
    assert at.go(5.0, 4.0)[0].max() > 0.3  # a key lies 3 mm down, the stop 10 mm


def test_a_person_who_goes_to_another_key_leaves_the_reference_behind() -> None:
    at = by_hand()
    at.say("under spring")
    assert at.bench.person is not None
    at.bench.person.move_to(40)
    until_idle(at)
    at.shown(0.1)

    assert (at.bench.under, at.bench.station) == (None, 40)
    assert at.say("press") == "ok presses on: key 40"


def test_the_operator_names_keys_as_recordings_do() -> None:
    assert {key.name: key_number(key.name) for key in ALL_KEYS} == {key.name: key.number for key in ALL_KEYS}
    assert [key_number(name) for name in ("C9", "B#3", "E#3", "G0", "c4", "Db4", "C8#")] == [None] * 7


def test_only_a_rig_with_a_workbench_has_an_operator() -> None:
    assert VirtualRig(KEYS[:3]).workbench is None

    rig = VirtualRig(KEYS, None, CueFollower(station=1, seed=1), load_workbench("tern_lane"))
    assert rig.workbench is not None
    assert rig.workbench.obey("pan m20 m50") == "ok on the pan: m20, m50"
    assert rig.workbench.obey("press").startswith("ok presses on: key 1")
