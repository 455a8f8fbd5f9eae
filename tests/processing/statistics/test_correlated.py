"""Means of values that resemble their neighbours."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from benchmarks.error_rates import faded
from processing.statistics.correlated import (
    FADING_U,
    FEWEST,
    Estimate,
    Resemblance,
    fading_of,
    mean_of,
    mean_of_few,
    resemblance_of,
    slow_cosines,
)

EVERY = tuple(range(52))


@given(level=st.floats(-9, 9), slope=st.floats(-2, 2), bulge=st.floats(-0.5, 0.5))
def test_what_runs_or_bulges_along_the_keyboard_is_no_noise(level: float, slope: float, bulge: float) -> None:
    at = np.arange(20.0)

    told = mean_of(tuple(range(20)), level + slope * at + bulge * at**2, Resemblance(0.0))

    assert told.u == pytest.approx(0.0, abs=1e-10)


@given(shift=st.floats(-9, 9), scale=st.floats(0.1, 9))
def test_a_mean_moves_and_stretches_with_its_values(shift: float, scale: float) -> None:
    values = np.random.default_rng(3).standard_normal(15)
    plain, changed = (mean_of(tuple(range(15)), some, Resemblance(0.2)) for some in (values, shift + scale * values))

    assert changed.value == pytest.approx(shift + scale * plain.value, abs=1e-9)
    assert changed.u == pytest.approx(scale * plain.u, rel=1e-9)


def test_the_cosines_are_of_length_one_and_see_no_parabola() -> None:
    slow = slow_cosines((0, 1, 2, 4, 5, 6, 7, 9, 10, 11), Resemblance(0.3))

    assert slow.basis.T @ slow.basis == pytest.approx(np.eye(slow.basis.shape[1]), abs=1e-12)
    for power in (0, 1, 2):
        assert slow.basis.T @ np.array([0, 1, 2, 4, 5, 6, 7, 9, 10, 11]) ** power == pytest.approx(0.0, abs=1e-9)


def test_values_that_seem_independent_are_nearly_as_sure_as_students_t_would_have_them() -> None:
    slow = slow_cosines(EVERY, Resemblance(0.0))

    assert 1.0 < slow.scale < 1.05
    assert slow.dof == pytest.approx(slow.basis.shape[1], rel=0.1)


def test_resemblance_makes_a_mean_less_sure() -> None:
    values = np.random.default_rng(4).standard_normal(52)

    assert mean_of(EVERY, values, Resemblance(0.6)).u > 1.2 * mean_of(EVERY, values, Resemblance(0.0)).u


@pytest.mark.parametrize("fading", [0.0, 0.3, 0.5])
def test_the_interval_of_a_mean_misses_as_often_as_it_says(fading: float) -> None:
    random, trials = np.random.default_rng(5), 400
    missed = 0
    for _ in range(trials):
        both = [(EVERY, faded(random, 52, fading)), (tuple(range(36)), faded(random, 36, fading))]
        missed += mean_of(EVERY[:22], both[0][1][:22], resemblance_of(both)).p < 0.05

    assert binomtest(missed, trials, 0.05).pvalue > 0.01


@pytest.mark.parametrize("fading", [0.3, 0.6])
def test_the_fading_is_found_whatever_the_trend_and_the_odd_key(fading: float) -> None:
    """Within its own standard uncertainty for so many keys: the belief before any data pulls 0.6 down by 0.06."""
    random = np.random.default_rng(6)
    found = []
    for _ in range(60):
        values = faded(random, 52, fading) + np.linspace(0.0, 20.0, 52)
        values[17] += 30.0
        found.append(fading_of([(EVERY, values)]))

    assert np.mean(found) == pytest.approx(fading, abs=FADING_U)


@pytest.mark.parametrize("fading", [0.0, 0.5])
def test_a_few_values_are_judged_by_the_scatter_of_all(fading: float) -> None:
    random, trials = np.random.default_rng(7), 400
    missed = 0
    for _ in range(trials):
        both = [(EVERY[:15], faded(random, 15, fading)), (EVERY[:10], faded(random, 10, fading))]
        missed += mean_of_few(EVERY[:10], both[1][1], (0, 1, 2), resemblance_of(both)).p < 0.05

    assert binomtest(missed, trials, 0.05, alternative="greater").pvalue > 0.01


def test_few_keys_tell_less_well_how_neighbours_resemble_each_other() -> None:
    values = np.random.default_rng(8).standard_normal(88)

    assert resemblance_of([(tuple(range(88)), values)]).u == pytest.approx(FADING_U, abs=0.01)
    assert resemblance_of([(EVERY[:12], values[:12])]).u > 1.4 * FADING_U


def test_few_values_have_no_scatter_of_their_own() -> None:
    with pytest.raises(ValueError, match=str(FEWEST)):
        mean_of((0, 1, 2, 3), np.zeros(4), Resemblance(0.0))


def test_an_estimate_that_is_sure_is_either_nothing_or_certain() -> None:
    assert (Estimate(0.0, 0.0, 5.0).p, Estimate(1.0, 0.0, 5.0).p) == (1.0, 0.0)


@given(u=st.floats(0.01, 9.0), own=st.floats(2.0, 20.0), dof=st.floats(2.0, 1000.0))
def test_parts_together_are_no_surer_than_the_surest_and_no_less_sure_than_the_other(
    u: float, own: float, dof: float
) -> None:
    both = Estimate(1.0, 1.0, own).with_common(u, dof)

    assert both.u == pytest.approx(np.hypot(1.0, u))
    assert min(own, dof) * (1.0 - 1e-9) <= both.dof <= max(own, dof) * (1.0 + 1e-9)


def test_nothing_beside_nothing_is_sure() -> None:
    assert Estimate(1.0, 0.0, 5.0).with_common(0.0, 5.0).u == 0.0
