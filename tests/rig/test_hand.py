"""A hand and a person in place of the motor: smooth, trembling, yielding, told the time."""

from __future__ import annotations

import numpy as np
import pytest

from rig.errors import NoMotor
from rig.protocol.messages import Source
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.hand import Glide, Hand, HandSpec, Hold, PressUntil, Reach, minimum_jerk
from rig.virtual.person import PRESS_KINDS, PressKind, VirtualPerson
from rig.virtual.scenario import keyboard_of, load_scenario

KEYS = keyboard_of(load_scenario("moss"))
CALM = HandSpec(tremor_mm=0.0, waver=0.0)
DT_S = 0.0005


def places(hand: Hand, seconds: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Let time pass in the air and return where the plunger was, in mm."""
    seen = np.empty(round(seconds / DT_S))
    for at in range(len(seen)):
        hand.advance(DT_S)
        seen[at] = hand.plunger()[0]
    return seen


def ran(person: VirtualPerson, keys: int = 88) -> tuple[Bench, np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    """Let a person finish; return the bench, its samples and its events."""
    bench, samples, events, now = Bench(BenchSpec(), KEYS[:keys], person), [], [], 0
    while not person.idle or not samples:
        samples.append(bench.make_samples(50, now + 1000, lambda *_: None))
        now += 50_000
        events.append(bench.events_until(now))
        assert now < 120_000_000, "the person does not finish"
    return bench, np.concatenate(samples), np.concatenate(events)


@pytest.mark.parametrize(
    ("time", "way"),
    [(0.0, 0.0), (0.25, 53 / 512), (0.5, 0.5), (0.75, 459 / 512), (1.0, 1.0)],  # 10 t^3 - 15 t^4 + 6 t^5 by hand
)
def test_a_reach_has_the_shape_of_flash_and_hogan(time: float, way: float) -> None:
    assert minimum_jerk(time) == pytest.approx(way)


def test_a_calm_hand_in_the_air_goes_where_it_means_to_go() -> None:
    hand = Hand(CALM, seed=1)
    hand.follow(Reach(7.5, 2.0), Hold(0.5))

    way = places(hand, 2.6)

    assert way[round(1.0 / DT_S)] == pytest.approx(4.5, abs=0.01)
    assert way[-1] == pytest.approx(7.5, abs=0.001)
    assert hand.idle


def test_tremor_lies_between_8_and_12_hz_and_within_its_amplitude() -> None:
    hand = Hand(HandSpec(), seed=4)

    trembles = places(hand, 8.0)[round(1.0 / DT_S) :] - HandSpec().rest_mm

    power = np.abs(np.fft.rfft(trembles * np.hanning(len(trembles)))) ** 2
    hz = np.fft.rfftfreq(len(trembles), DT_S)
    assert power[(hz > 7.5) & (hz < 12.5)].sum() > 0.99 * power.sum()
    assert 0.005 < np.abs(trembles).max() < 1.25 * HandSpec().tremor_mm  # the hand's own spring adds a little


@pytest.mark.parametrize("to_mm", [6.0, 0.5])
def test_a_calm_hand_glides_at_one_speed_and_stops_where_it_meant_to(to_mm: float) -> None:
    hand = Hand(CALM, seed=1)
    hand.follow(Glide(to_mm, 2.0))

    way = places(hand, abs(to_mm - CALM.rest_mm) / 2.0 + 0.5)

    speed = np.abs(np.diff(way)) / DT_S
    assert speed[round(0.15 / DT_S) : round(0.4 / DT_S)] == pytest.approx(2.0, rel=1e-3)
    assert way[-1] == pytest.approx(to_mm, abs=1e-6)
    assert hand.idle


def test_a_hand_presses_until_it_has_felt_enough_and_reacts_late() -> None:
    hand = Hand(CALM, seed=1)
    hand.follow(PressUntil(2.0, 1.0))
    steps = 0
    while not hand.idle:
        hand.feel(2.5)
        hand.advance(DT_S)
        steps += 1

    assert steps * DT_S == pytest.approx(CALM.reacts_in_s, abs=DT_S)


def test_a_hand_gives_way_by_its_stiffness() -> None:
    hand = Hand(CALM, seed=1)
    hand.feel(1.0)

    assert places(hand, 2.0)[-1] == pytest.approx(CALM.rest_mm - 1.0 / CALM.stiffness_newton_per_mm, abs=0.001)


def test_the_same_seed_moves_the_same() -> None:
    one, other, third = (Hand(HandSpec(), seed=seed) for seed in (1, 1, 2))
    for hand in (one, other, third):
        hand.follow(Reach(8.0, 1.0))

    assert np.array_equal(places(one, 1.0), places(other, 1.0))
    assert not np.array_equal(places(one, 0.1), places(third, 0.1))


def test_a_hand_obeys_no_move_but_stops_when_told() -> None:
    hand = Hand(HandSpec(), seed=1)
    hand.follow(Reach(8.0, 1.0))

    with pytest.raises(NoMotor, match="refuse Moves"):
        hand.go(5.0, 4.0, 200.0)
    hand.stop()
    assert hand.idle


@pytest.mark.parametrize("kind", PRESS_KINDS)
@pytest.mark.parametrize("station", [1, 42, 59, 80])
def test_every_press_ends_and_only_short_ones_miss_the_bed(kind: PressKind, station: int) -> None:
    person = VirtualPerson(station=station, seed=station)
    person.press(kind)

    _, samples, _ = ran(person)

    newton = samples["force_counts"].max() / 20_000
    assert newton < 2.0 if kind == "short" else 4.0 < newton < 6.5


def test_a_press_sounds_the_key_at_the_station() -> None:
    person = VirtualPerson(station=40, seed=1)
    person.press("good")

    _, _, events = ran(person)

    assert events["byte"].tolist()[:2] == [0x90, 60]
    assert set(events["source"]) == {Source.MIDI_IN}


def test_the_foot_switch_says_one_then_zero_in_its_place_between_the_notes() -> None:
    person = VirtualPerson(station=40, seed=1)
    person.press("good")
    person.tread()
    person.press("good")

    _, _, events = ran(person)

    foot = np.flatnonzero(events["source"] == Source.FOOT_SWITCH)
    assert events["byte"][foot].tolist() == [1, 0]
    assert events["byte"].tolist()[0] == events["byte"].tolist()[foot[-1] + 1] == 0x90
    assert (np.diff(events["tick_us"].astype(np.int64)) >= 0).all()


def test_a_person_carries_the_rig_only_with_the_plunger_up() -> None:
    person = VirtualPerson(station=40, seed=1)
    person.press("not_home")
    person.move_to(41)
    person.press("good")
    bench = Bench(BenchSpec(), KEYS, person)
    plunger_mm, now = [], 0
    while not person.idle or not now:
        before = bench.station
        bench.make_samples(1, now + 1000, lambda *_: None)
        now += 1000
        if bench.station != before:
            plunger_mm.append(bench.stage.plunger()[0])

    assert len(plunger_mm) == 1
    assert plunger_mm[0] < 2.0
    assert bench.station == 41
