"""Rules against sequences that fulfil them by a hair, and their stated run lengths against drawing."""

from __future__ import annotations

import numpy as np
import pytest

from processing.control.rules import RULES, Rule, average_run_length, rules_seen

ZIGZAG = [0.5, -0.5] * 7
JUST: dict[str, list[float]] = {
    "one point beyond three sigma": [0.0, 3.01],
    "nine in a row on one side of the centre": [-0.1, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1],
    "six in a row rising or falling": [0.0, 0.3, 0.2, 0.1, 0.0, -0.1, -0.2],
    "fourteen in a row going up and down by turns": ZIGZAG,
    "two of three beyond two sigma on one side": [2.1, 0.0, 2.1],
    "four of five beyond one sigma on one side": [-1.1, -1.1, 0.0, -1.1, -1.1],
    "fifteen in a row within one sigma": [0.1, -0.2, -0.1, 0.2, 0.2] * 3,
    "eight in a row beyond one sigma, on either side": [1.1, -1.1, -1.2, 1.2, 1.1, -1.1, -1.2, 1.2],
}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_a_rule_is_fulfilled_at_the_last_point_of_its_run_and_not_before(rule: Rule) -> None:
    points = np.array(JUST[rule.name])

    fulfilled = rule.fulfilled(points)

    assert np.flatnonzero(fulfilled).tolist() == [len(points) - 1]


def test_rules_are_told_by_name_and_place() -> None:
    points = np.array([0.0, -3.5, 0.0, 3.5])

    assert [(seen.rule.name, seen.at) for seen in rules_seen(points)] == [("one point beyond three sigma", (1, 3))]


@pytest.mark.parametrize("rule", RULES[:-1], ids=lambda rule: rule.name)
def test_the_stated_run_length_is_the_one_found_by_drawing(rule: Rule) -> None:
    found, u = average_run_length([rule], runs=700, longest=2048, seed=5)

    assert found == pytest.approx(rule.run_length, abs=3.5 * u)


def test_run_lengths_with_a_closed_form_are_that() -> None:
    """One point: 1 / 2 Phi(-3). A run of n hits of probability p: (p^-n - 1) / (1 - p); either side: 2^9 - 1."""
    within = 0.6826894921370859

    assert RULES[0].run_length == pytest.approx(370.398, abs=0.05)
    assert RULES[1].run_length == 2.0**9 - 1.0
    assert RULES[6].run_length == pytest.approx((within**-15 - 1.0) / (1.0 - within), rel=1e-3)
    assert RULES[7].run_length == pytest.approx(((1.0 - within) ** -8 - 1.0) / within, rel=1e-3)


@pytest.mark.parametrize(
    ("places", "published"), [((0, 4), 225.44), ((0, 5), 166.05)], ids=["with two of three", "with four of five"]
)
def test_rules_used_together_cry_wolf_as_often_as_published(places: tuple[int, ...], published: float) -> None:
    """Champ & Woodall, Technometrics 29:393 (1987), from memory."""
    found, u = average_run_length([RULES[place] for place in places], runs=3000, longest=512, seed=7)

    assert found == pytest.approx(published, abs=3.5 * u)
