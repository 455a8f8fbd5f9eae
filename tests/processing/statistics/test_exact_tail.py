"""The exact tail of a normal value over what several others show."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from scipy.stats import t as student_t

from processing.statistics.correlated import correlation_matrix
from processing.statistics.exact_tail import LEVELS, SQUARES, chance_of_more, scaled_t, tail_of_ratio


@given(dof=st.integers(1, 20), value=st.floats(0.3, 1000.0))
def test_with_equal_weights_it_is_students_t_of_scipy(dof: int, value: float) -> None:
    told = chance_of_more(np.full(dof, value**2 / dof))

    assert told == pytest.approx(2.0 * student_t.sf(value, dof), rel=1e-8)


@given(weight=st.floats(0.02, 1e6))
def test_against_one_other_it_is_cauchys_law(weight: float) -> None:
    assert chance_of_more(np.array([weight])) == pytest.approx(2.0 / np.pi * np.arctan(weight**-0.5), rel=1e-6)


def test_with_unequal_weights_it_is_the_share_of_drawn_values() -> None:
    weights, random = np.array([0.2, 1.0, 3.0, 0.7]), np.random.default_rng(8)
    first, others = random.standard_normal(200_000), random.standard_normal((200_000, 4))
    hits = int(np.sum(first**2 > others**2 @ weights))

    assert binomtest(hits, len(first), float(chance_of_more(weights))).pvalue > 0.001


def test_a_value_that_is_like_the_others_has_the_share_of_drawn_values() -> None:
    joint, random = correlation_matrix(tuple(range(6)), 0.6), np.random.default_rng(9)
    drawn = random.standard_normal((200_000, 6)) @ np.linalg.cholesky(joint).T
    place = 8
    hits = int(np.sum(drawn[:, 0] ** 2 > SQUARES[place] * np.mean(drawn[:, 1:] ** 2, axis=1)))

    assert binomtest(hits, len(drawn), float(tail_of_ratio(joint)[place])).pvalue > 0.001


@pytest.mark.parametrize("dof", [2, 5, 12])
def test_of_independent_values_the_scaled_t_is_the_t(dof: int) -> None:
    scale, found = scaled_t(tail_of_ratio(np.eye(1 + dof)))

    assert (scale, found) == pytest.approx((1.0, dof), rel=2e-3)


def test_between_two_tails_it_is_met_at_both_levels() -> None:
    tail = 0.5 * tail_of_ratio(np.eye(8)) + 0.5 * tail_of_ratio(np.diag([3.0, *[1.0] * 7]))
    scale, dof = scaled_t(tail)
    at = [scale * student_t.isf(level / 2.0, dof) for level in LEVELS]
    exact = [
        0.5 * chance_of_more(np.full(7, value**2 / 7)) + 0.5 * chance_of_more(np.full(7, value**2 / 21)) for value in at
    ]

    assert exact == pytest.approx(LEVELS, rel=0.02)
