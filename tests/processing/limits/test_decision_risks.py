"""Stated risks against simulated ones: see benchmarks/decision_risks.py, which is this with more of everything."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.decision_risks import KNOWN, LOWER, RISK, RULES, UPPER, Run, Study, holds, on_the_limit
from processing.limits.conformity import Rule, decide
from processing.limits.learned import LearnSettings

TRIALS = 200_000


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("u", [0.02, 0.1, 0.3])
def test_both_global_risks_are_the_computed_ones_within_their_binomial_interval(rule: Rule, u: float) -> None:
    for counted in Run(rule=rule, u=u).counted(np.random.default_rng(106), TRIALS):
        assert counted.hits > 0
        assert counted.holds, f"{counted.what}: {counted.hits} of {counted.trials}, stated {counted.stated}"


@pytest.mark.parametrize("dof", [2.0, 10.0, KNOWN])
def test_a_key_on_the_limit_is_decided_wrongly_with_the_stated_risk(dof: float) -> None:
    for counted in on_the_limit(np.random.default_rng(107), TRIALS, dof):
        assert counted.holds, f"{counted.what}: {counted.hits} of {counted.trials}, stated {counted.stated}"


@pytest.mark.parametrize("rule", RULES)
def test_what_is_simulated_is_what_decide_says(rule: Rule) -> None:
    random = np.random.default_rng(108)
    low, high = Run(rule=rule, u=0.3).zone

    for read in random.normal(0.0, 1.0, 400).tolist():
        told = decide(read, 0.3, KNOWN, lower=LOWER, upper=UPPER, rule=rule, risk=RISK)
        assert (told.outcome == "pass") == (low <= read <= high)


def test_the_stated_probabilities_of_being_wrong_are_as_often_true_as_they_say() -> None:
    """True values from everywhere alike, so that the reading is all that is known: JCGM 106, 7."""
    random, u = np.random.default_rng(109), 0.5
    true = random.uniform(-4.0, 4.0, 20_000)
    good = (true >= LOWER) & (true <= UPPER)
    told = [
        decide(read, u, KNOWN, lower=LOWER, upper=UPPER, rule="simple acceptance", risk=RISK)
        for read in (true + u * random.standard_normal(len(true))).tolist()
    ]

    was_wrong = np.array([one.outcome == "pass" for one in told]) != good
    stated = np.array([one.wrong for one in told])
    expected_error = np.sqrt(np.sum(stated * (1.0 - stated)))
    assert abs(was_wrong.sum() - stated.sum()) < 3.3 * expected_error  # one in a thousand; seeded


def test_limits_learned_in_simulated_studies_hold_as_often_as_stated() -> None:
    random, settings = np.random.default_rng(110), LearnSettings(excess=1e9)

    held = sum(holds(Study(units=5, between=0.01), random, settings) for _ in range(150))

    assert held >= 135  # of 150 at a stated 95 %: fewer have a probability of 4 in 1000
