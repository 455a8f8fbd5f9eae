"""Monte Carlo against the examples of JCGM 101 and against distributions known in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import kstest, norm
from scipy.stats import t as student_t

from processing.budget.lines import Distribution
from processing.budget.monte_carlo import (
    FEWEST_TRIALS,
    compare,
    judge,
    run_trials,
    shortest_interval,
    symmetric_interval,
    tolerance_of,
)
from processing.budget.sampling import draw, draw_measurand, joint_normal
from tests.processing.budget.budgets import a_budget, a_line, published

TRUTH = published("jcgm101_published.json")


def test_four_normals_give_the_interval_of_the_gum() -> None:
    """JCGM 101, 9.2.2: u = 2.0, [-3.92, 3.92]."""
    found = compare(a_budget([1.0] * 4), coverage=0.95, most_trials=3_000_000, seed=1)

    assert found.monte_carlo.symmetric == pytest.approx(TRUTH["9.2.2_four_normals"]["interval95"], abs=0.01)
    assert found.monte_carlo.u == pytest.approx(2.0, abs=0.01)
    assert (found.agreement, found.monte_carlo.settled) == ("agree", True)


def test_four_rectangulars_give_a_narrower_one() -> None:
    """JCGM 101, 9.2.3: +-3.88 (exactly 3.8794) beside the GUM's 3.92: agreed to 1 and 2 digits, not to 3."""
    truth = TRUTH["9.2.3_four_rectangular"]
    budget = a_budget([1.0] * 4, distribution="rectangular")
    by_digits = {d: compare(budget, coverage=0.95, most_trials=1_500_000, seed=1, digits=d) for d in (1, 2, 3)}

    assert by_digits[2].monte_carlo.symmetric == pytest.approx(truth["interval95_MCM"], abs=0.01)
    assert by_digits[2].monte_carlo.symmetric[1] == pytest.approx(truth["exact_half_width"], abs=0.01)
    assert by_digits[2].gum == pytest.approx(truth["GUF"], abs=0.005)
    assert [found.agreement for found in by_digits.values()] == ["agree", "agree", "differ"]


def test_one_wide_rectangular_is_where_the_gum_fails() -> None:
    """JCGM 101, 9.2.4 (from memory): +-17.0 where the law of propagation says 19.9."""
    budget = a_budget([1.0, 1.0, 1.0, 10.0], distribution="rectangular")
    found = compare(budget, coverage=0.95, most_trials=200_000, seed=1)

    assert found.gum == pytest.approx(TRUTH["9.2.4_one_wide_rectangular"]["GUF95"], abs=0.05)
    assert found.monte_carlo.symmetric == pytest.approx(TRUTH["9.2.4_one_wide_rectangular"]["MCM95"], abs=0.1)
    assert found.agreement == "differ"


def test_the_mass_calibration_with_its_model_that_is_not_linear() -> None:
    """JCGM 101, 9.3 (from memory, recomputed): 1.2340, 0.0754, shortest [1.0843, 1.3833] mg.

    The place of a shortest interval is noisy, and ends from memory and recomputed differ by 0.001: 0.002 is allowed.
    """
    truth, random = TRUTH["9.3_mass"], np.random.default_rng(7)

    def between(name: str, count: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        low, high = truth[name]
        return (low + high) / 2 + draw(random, "rectangular", (high - low) / np.sqrt(12.0), count)

    def difference_mg(count: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        reference = sum(truth[name][0] + draw(random, "normal", truth[name][1], count) for name in ("mRc", "dmRc"))
        lift = (between("rho_a", count) - 1.2) * (1.0 / between("rho_W", count) - 1.0 / between("rho_R", count))
        return reference * (1.0 + lift) - truth["m_nom_mg"]

    found = run_trials(difference_mg, coverage=0.95, most_trials=2_000_000, tolerance=2e-4)

    assert found.mean == pytest.approx(1.2340, abs=3e-4)
    assert found.u == pytest.approx(0.0754, abs=2e-4)
    assert found.shortest == pytest.approx((1.0843, 1.3833), abs=2e-3)
    first_order = found.symmetric[0] - truth["GUF1"][2], truth["GUF1"][3] - found.symmetric[1]
    assert max(first_order) < -0.03  # the first-order interval is far too short: it leaves out the air


@pytest.mark.parametrize("distribution", ["normal", "rectangular", "triangular", "arcsine"])
def test_a_drawn_input_has_the_standard_uncertainty_stated(distribution: Distribution) -> None:
    drawn = draw(np.random.default_rng(1), distribution, 2.0, 200_000)

    assert drawn.mean() == pytest.approx(0.0, abs=0.02)
    assert drawn.std() == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize(
    ("distribution", "reach"), [("rectangular", np.sqrt(3.0)), ("triangular", np.sqrt(6.0)), ("arcsine", np.sqrt(2.0))]
)
def test_a_bounded_input_keeps_to_its_bounds(distribution: Distribution, reach: float) -> None:
    """JCGM 101, table 1: half-widths of sqrt 3, sqrt 6 and sqrt 2 standard deviations."""
    assert np.abs(draw(np.random.default_rng(1), distribution, 1.0, 100_000)).max() == pytest.approx(reach, rel=0.01)


def test_a_t_is_drawn_with_its_scale() -> None:
    drawn = draw(np.random.default_rng(1), "t", 3.0, 20_000, dof=2.0)

    assert kstest(drawn / 3.0, student_t(2.0).cdf).pvalue > 0.001
    assert kstest(drawn / 3.0, norm.cdf).pvalue < 1e-6


def test_inputs_that_err_together_are_drawn_together() -> None:
    covariance = np.array([[4.0, -1.5], [-1.5, 1.0]])
    drawn = joint_normal(np.random.default_rng(1), covariance, 200_000)

    assert np.cov(drawn.T) == pytest.approx(covariance, abs=0.03)


def test_a_correlated_budget_scatters_as_the_law_of_propagation_says() -> None:
    """Small numbers on purpose: newtons of a fine rig are 1e-6, and a check of a covariance must not pass over them."""
    budget = a_budget([3e-6, 4e-6, 1e-6], value=1.0, r=[(0, 1, -0.5)])

    assert np.std(draw_measurand(np.random.default_rng(1), budget, 200_000)) == pytest.approx(
        np.sqrt(14) * 1e-6, rel=0.01
    )


def test_correlated_lines_that_are_not_normal_are_refused() -> None:
    budget = a_budget([1.0, 1.0], r=[(0, 1, 0.5)], distribution="rectangular")

    with pytest.raises(ValueError, match="must be normal"):
        draw_measurand(np.random.default_rng(1), budget, 10)


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    [(0.00035, 2, 5e-6), (0.00035, 1, 5e-5), (32.0, 2, 0.5), (32.0, 1, 5.0), (9.96, 2, 0.5), (0.0, 2, 0.0)],
)
def test_the_tolerance_is_half_a_unit_of_the_last_digit(u: float, digits: int, delta: float) -> None:
    """JCGM 101, 7.9.2: 0.00035 to two digits is 35 x 10^-5, delta = 0.5 x 10^-5; 32 to one is 3 x 10^1, delta = 5."""
    assert tolerance_of(u, digits) == pytest.approx(delta)


def test_the_shortest_interval_of_a_lopsided_distribution_starts_where_it_is_densest() -> None:
    """Exponential: the shortest 95 % interval is [0, ln 20], the symmetric one [ln 40/39, ln 40]."""
    ordered = np.sort(np.random.default_rng(1).exponential(size=400_000))

    assert shortest_interval(ordered, 0.95) == pytest.approx((0.0, np.log(20.0)), abs=0.03)
    assert symmetric_interval(ordered, 0.95) == pytest.approx((np.log(40.0 / 39.0), np.log(40.0)), abs=0.03)


def test_intervals_hold_their_share_of_the_trials() -> None:
    ordered = np.arange(1000.0)

    assert symmetric_interval(ordered, 0.95) == (25.0, 975.0)
    assert shortest_interval(ordered, 0.95) == (0.0, 950.0)


def test_a_t_of_two_degrees_of_freedom_has_ends_but_no_standard_deviation() -> None:
    budget = replace(a_budget([0.0]), lines=(a_line("three strokes", 1.0, distribution="t", dof=2.0),))
    found = compare(budget, coverage=0.95, most_trials=400_000, seed=1)

    assert found.monte_carlo.u is None
    assert found.monte_carlo.symmetric == pytest.approx((-4.303, 4.303), abs=0.1)  # table G.2


def test_too_few_trials_leave_the_question_open() -> None:
    """9.2.3 differs by 0.04 where 0.05 is allowed: 20 000 trials know their ends to 0.07 only."""
    found = compare(a_budget([1.0] * 4, distribution="rectangular"), coverage=0.95, most_trials=FEWEST_TRIALS, seed=1)

    assert (found.agreement, found.monte_carlo.settled) == ("open", False)
    with pytest.raises(ValueError, match="scatter"):
        compare(a_budget([1.0]), coverage=0.95, most_trials=FEWEST_TRIALS - 1, seed=1)


def test_agreement_is_asked_of_both_ends() -> None:
    """JCGM 101, 8.1: d_low and d_high must both be within delta."""
    found = compare(a_budget([1.0]), coverage=0.95, most_trials=2_000_000, seed=1).monte_carlo
    low, high = found.symmetric

    assert judge((low - 0.04, high + 0.04), found, 0.05).agreement == "agree"
    assert judge((low, high + 0.06), found, 0.05).agreement == "differ"
    assert judge((low - 0.06, high), found, 0.05).agreement == "differ"


def test_the_same_seed_gives_the_same_trials() -> None:
    one, two = (compare(a_budget([1.0]), coverage=0.95, most_trials=40_000, seed=5) for _ in range(2))

    assert one == two


def test_a_budget_of_nothing_agrees_with_itself() -> None:
    assert compare(a_budget([0.0]), coverage=0.95, most_trials=FEWEST_TRIALS, seed=1).agreement == "agree"
