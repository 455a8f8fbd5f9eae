"""Mistakes at the bench are named, and honest sequences are left alone. Cells, people and seeds are simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.calibration.mistakes import Mistake, find_mistakes
from processing.calibration.sequence import LoadStep
from processing.calibration.settings import MistakeSettings
from tests.processing.calibration.benches import HERE, STACKS, Cell, read, spoiled, the_masses, up_and_down

ASKED = up_and_down()
LOADED = [place for place, stack in enumerate(ASKED) if stack]
SEEDS = st.integers(0, 10_000)


def found_in(steps: list[LoadStep]) -> tuple[Mistake, ...]:
    return find_mistakes(steps, the_masses(), HERE)


def codes(found: tuple[Mistake, ...]) -> list[str]:
    return [one.code for one in found]


def laid_at(place: int, stack: tuple[str, ...]) -> list[tuple[str, ...]]:
    return [stack if k == place else asked for k, asked in enumerate(ASKED)]


def exchanged(names: dict[str, str]) -> list[tuple[str, ...]]:
    return [tuple(names.get(name, name) for name in stack) for stack in ASKED]


@pytest.mark.parametrize(
    "cell",
    [
        Cell(),
        Cell(bend_per_newton=3e-4),
        Cell(hysteresis_newton=0.001),
        Cell(drift_newton_per_s=5e-5),
        Cell(noise_newton=0.02, reading_noise_newton=0.002),
    ],
    ids=["good", "bent by 0.1 %", "hysteresis of 0.03 %", "drift of 0.4 % a cycle", "noisy"],
)
def test_honest_sequences_raise_no_alarm(cell: Cell) -> None:
    """Stated chance 0.001 a sequence: more than two in 80 would come once in ten thousand."""
    alarms = [codes(found_in(read(ASKED, cell, seed))) for seed in range(80)]

    assert sum(bool(alarm) for alarm in alarms) <= 2


def test_a_zero_that_wanders_raises_no_false_names() -> None:
    """A random walk of 0.3 mN per root second on top of a drift, at a brisk 3 s a step; 60 seeds."""
    alarms = []
    for seed in range(60):
        steps = read(ASKED, Cell(drift_newton_per_s=5e-5), seed, step_s=3.0)
        walk = np.cumsum(np.random.default_rng(seed).normal(0.0, 3e-4 * np.sqrt(3.0), len(steps)))
        wandering = [
            replace(step, mean_counts=step.mean_counts + 20000.0 * off) for step, off in zip(steps, walk, strict=True)
        ]
        alarms.append(codes(found_in(wandering)))

    assert sum(bool(alarm) for alarm in alarms) <= 2


def test_false_alarms_of_the_search_are_as_rare_as_stated() -> None:
    """With the least size out of the way and the chance set to 5 %, Bonferroni allows 5 % at most; tests of masses and
    visits are nearly independent, so it is not far below. 400 draws: 5 % + 3 standard deviations = 8.3 %."""
    loose = MistakeSettings(false_alarm=0.05, least_share=0.0, drift_share=1.0)
    asked = up_and_down(1)

    alarms = sum(
        bool(find_mistakes(read(asked, Cell(), seed), the_masses(), HERE, settings=loose)) for seed in range(400)
    )

    assert 0.01 < alarms / 400 < 0.083


@settings(max_examples=25)
@given(seed=SEEDS, place=st.sampled_from([k for k in LOADED if len(ASKED[k]) > 1]), which=st.integers(0, 2))
def test_a_forgotten_mass_is_named_with_its_step(seed: int, place: int, which: int) -> None:
    stack = ASKED[place]
    left_off = stack[which % len(stack)]

    found = found_in(read(ASKED, Cell(), seed, laid=laid_at(place, tuple(name for name in stack if name != left_off))))

    assert [(one.code, one.step) for one in found] == [("forgotten_mass", place)]
    assert left_off in found[0].masses
    assert f"step {place + 1} carried" in found[0].words
    assert f"mass {left_off} was forgotten" in found[0].words


@settings(max_examples=25)
@given(seed=SEEDS, place=st.sampled_from(range(len(ASKED))))
def test_a_mass_that_lay_on_too_is_named_even_on_the_empty_pan(seed: int, place: int) -> None:
    found = found_in(read(ASKED, Cell(), seed, laid=laid_at(place, (*ASKED[place], "10"))))

    assert [(one.code, one.step, one.masses) for one in found] == [("extra_mass", place, ("10",))]


@settings(max_examples=20)
@given(seed=SEEDS, place=st.sampled_from([k for k in LOADED if ASKED[k] == ("50",)]))
def test_one_mass_in_place_of_another_is_named(seed: int, place: int) -> None:
    """20 for 50: nothing else in the list makes that difference."""
    found = found_in(read(ASKED, Cell(), seed, laid=laid_at(place, ("20",))))

    assert [(one.code, one.step, one.masses) for one in found] == [("mass_in_place_of_another", place, ("20", "50"))]


@settings(max_examples=20)
@given(seed=SEEDS, place=st.sampled_from([2, 3, 4, 5, 16, 17]))
def test_two_steps_in_the_wrong_order_are_told_as_one_mistake(seed: int, place: int) -> None:
    laid = list(ASKED)
    laid[place], laid[place + 1] = laid[place + 1], laid[place]

    found = found_in(read(ASKED, Cell(), seed, laid=laid))

    assert [(one.code, one.step) for one in found] == [("swapped_steps", place)]


@pytest.mark.parametrize("pair", [("20", "50"), ("50", "100"), ("100", "200")])
def test_two_masses_exchanged_all_along_are_told_as_one_mistake(pair: tuple[str, str]) -> None:
    found = found_in(read(ASKED, Cell(), 4, laid=exchanged({pair[0]: pair[1], pair[1]: pair[0]})))

    assert [(one.code, set(one.masses)) for one in found] == [("swapped_masses", set(pair))]


@settings(max_examples=20)
@given(seed=SEEDS, name=st.sampled_from(["50", "100", "200"]), off_g=st.sampled_from([-1.0, -0.5, 0.5, 1.0]))
def test_a_mass_that_weighs_something_else_is_found_and_weighed(seed: int, name: str, off_g: float) -> None:
    """True load from the sum of grams written out here; 0.5 g are 5 mN, one part in 700 of the range."""

    def push(stack: tuple[str, ...]) -> float:
        return sum(float(one) + off_g * (one == name) for one in stack) * 9.81e-3 * 0.99985

    found = found_in(read(ASKED, Cell(), seed, true_newton=push))

    assert [(one.code, one.masses) for one in found] == [("wrong_mass", (name,))]
    assert found[0].off_newton == pytest.approx(off_g * 9.81e-3 * 0.99985, abs=0.0006)


def test_masses_that_always_lie_together_cannot_be_told_apart() -> None:
    asked = [(), ("100",), ("100", "50", "20"), ("200",), ("200", "50", "20"), ("200", "100"), ()]
    asked += asked[1:]

    def push(stack: tuple[str, ...]) -> float:
        return sum(float(one) + (one == "20") for one in stack) * 9.81e-3

    found = found_in(read(asked, Cell(), 1, true_newton=push))

    assert codes(found) == ["wrong_mass"]
    assert set(found[0].masses) == {"20", "50"}
    assert "cannot tell which" in found[0].words


@settings(max_examples=20)
@given(seed=SEEDS, place=st.sampled_from(LOADED))
def test_a_steady_push_that_no_mass_explains_is_a_wrong_reading(seed: int, place: int) -> None:
    steps = read(ASKED, Cell(), seed)

    found = found_in(spoiled(steps, place, mean_counts=steps[place].mean_counts + 20000.0 * 0.0337))

    assert [(one.code, one.step) for one in found] == [("wrong_reading", place)]
    assert found[0].off_newton == pytest.approx(0.0337, abs=0.002)


def test_a_touched_pan_is_told_by_its_noise_and_kept_out_of_the_search() -> None:
    steps = read(ASKED, Cell(), 8)
    touched = spoiled(steps, 5, sd_counts=10.0 * steps[5].sd_counts, mean_counts=steps[5].mean_counts + 500.0)

    found = found_in(touched)

    assert [(one.code, one.step) for one in found] == [("noisy_reading", 5)]
    assert "touched the pan" in found[0].words


def test_a_reading_that_never_came_to_rest_is_told() -> None:
    found = found_in(spoiled(read(ASKED, Cell(), 8), 3, settled=False))

    assert [(one.code, one.step) for one in found] == [("not_settled", 3)]


@settings(max_examples=15)
@given(seed=SEEDS, drift=st.sampled_from([-3e-4, -2e-4, 2e-4, 3e-4]))
def test_a_drifting_zero_is_told_with_its_size(seed: int, drift: float) -> None:
    """14 steps of 20 s from one empty pan to the next: 280 s, and more than 1 % of 3.4 N."""
    found = found_in(read(ASKED, Cell(drift_newton_per_s=drift), seed))

    assert codes(found) == ["zero_drift"]
    assert found[0].off_newton == pytest.approx(280.0 * drift, abs=0.001)


def test_a_saturated_cell_is_told_at_every_step_it_spoils() -> None:
    """Its converter ends at 45 000 counts: 2.2 N; the loads of 2.6 and 3.4 N are beyond."""
    steps = read(ASKED, Cell(range_counts=45000.0), 2)

    found = found_in(steps)

    assert set(codes(found)) == {"saturated"}
    assert [one.step for one in found] == [k for k in LOADED if sum(map(int, ASKED[k])) > 220]


def test_a_stated_range_tells_saturation_in_spite_of_noise() -> None:
    steps = spoiled(read(ASKED, Cell(), 2), 7, mean_counts=69990.0)

    found = find_mistakes(steps, the_masses(), HERE, range_counts=(-70000.0, 70000.0))

    assert [(one.code, one.step) for one in found] == [("saturated", 7)]


def test_a_cell_on_its_stop_shows_the_same_under_different_loads() -> None:
    steps = [
        replace(step, mean_counts=min(step.mean_counts, 50000.0 + step.mean_counts % 1.0))
        for step in read(ASKED, Cell(), 2)
    ]

    assert set(codes(found_in(steps))) == {"saturated"}


def test_counts_that_fall_under_load_are_told_as_wrong_polarity() -> None:
    assert codes(found_in(read(ASKED, Cell(gain=-20000.0), 2))) == ["wrong_polarity"]


def test_two_different_mistakes_are_both_named() -> None:
    laid = laid_at(6, ("200", "20"))
    laid[16] = ("100",)

    found = found_in(read(ASKED, Cell(), 5, laid=laid))

    assert {(one.code, one.step) for one in found} == {("forgotten_mass", 6), ("mass_in_place_of_another", 16)}


def test_an_empty_pan_all_along_has_nothing_to_tell() -> None:
    assert found_in(read([(), (), ()], Cell(), 1)) == ()


def test_a_short_sequence_finds_what_it_can_and_invents_nothing() -> None:
    asked = [(), *STACKS[:3], ()]

    assert found_in(read(asked, Cell(), 1)) == ()
