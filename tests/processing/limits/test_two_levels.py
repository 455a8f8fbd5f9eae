"""Tolerance intervals for keys of units that are yet to come."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import binomtest

from processing.limits.tolerance import two_sided_factor
from processing.limits.two_levels import TwoLevels, two_levels

Array = NDArray[np.float64]
KEYS = 50
COVERAGE, CONFIDENCE = 0.99, 0.95
TRIALS = 20_000


def told(units: int = 5, between: float = 1.0, within: float = 1.0, keys: float = KEYS) -> TwoLevels:
    """Units whose scatter is seen exactly as it is."""
    return TwoLevels(0.0, units, keys, between**2 + within**2 / keys, within**2, units * (keys - 1.0))


@pytest.mark.parametrize("units", [2, 5, 30])
@pytest.mark.parametrize("coverage", [0.95, 0.999])
def test_units_of_one_key_have_the_exact_factor_of_the_standard(units: int, coverage: float) -> None:
    """ISO 16269-6: with a single key a unit there is one level only. The draws are 8192, hence 0.5 %."""
    one_key = TwoLevels(0.0, units, 1.0, 4.0, 1.0, 100.0)

    found = one_key.half_width(coverage, CONFIDENCE)

    assert found == pytest.approx(2.0 * two_sided_factor(units, coverage, CONFIDENCE), rel=0.005)


def test_units_that_are_all_alike_have_the_factor_of_their_keys() -> None:
    """Many units of which only the keys differ are one sample of keys."""
    alike = told(units=200, between=0.0)

    assert alike.half_width(COVERAGE, CONFIDENCE) == pytest.approx(
        two_sided_factor(200 * KEYS, COVERAGE, CONFIDENCE), rel=0.005
    )


@pytest.mark.parametrize(("units", "between"), [(2, 0.3), (3, 1.0), (5, 0.3), (5, 3.0), (12, 1.0), (12, 0.1)])
def test_limits_hold_the_stated_share_as_often_as_stated(units: int, between: float) -> None:
    """Simulated: chi-squares of both levels, a normal mean; the true share within is by arithmetic.

    Intervals by generalised pivots may hold more often than stated where units hardly differ, never clearly less.
    """
    random = np.random.default_rng(units)
    half_widths = _over_ratios(units)
    means = (between**2 + 1.0 / KEYS) * random.chisquare(units - 1, TRIALS) / (units - 1)
    keys = random.chisquare(units * (KEYS - 1), TRIALS) / (units * (KEYS - 1))
    mean = np.sqrt((between**2 + 1.0 / KEYS) / units) * random.standard_normal(TRIALS)

    widths = np.sqrt(keys) * half_widths(means / keys)

    true_spread = np.sqrt(between**2 + 1.0)
    share = ndtr((mean + widths) / true_spread) - ndtr((mean - widths) / true_spread)
    held = int((share >= COVERAGE).sum())
    assert binomtest(held, TRIALS, CONFIDENCE, alternative="less").pvalue > 1e-4 or held / TRIALS > CONFIDENCE - 0.01


def test_keys_are_not_taken_for_units() -> None:
    """Three units that differ and 150 keys: as 150 independent values the limits would be far too narrow."""
    naive = np.sqrt(2.0) * two_sided_factor(3 * KEYS, COVERAGE, CONFIDENCE)

    assert told(units=3).half_width(COVERAGE, CONFIDENCE) > 2.5 * naive


@settings(max_examples=20, deadline=None)
@given(scale=st.floats(0.01, 100), units=st.integers(2, 40), between=st.floats(0, 3))
def test_limits_stretch_with_their_values_and_more_units_bring_them_in(
    scale: float, units: int, between: float
) -> None:
    found = told(units, between).half_width(COVERAGE, CONFIDENCE)

    assert told(units, scale * between, scale).half_width(COVERAGE, CONFIDENCE) == pytest.approx(scale * found)
    assert told(units + 5, between).half_width(COVERAGE, CONFIDENCE) < found


def test_the_units_that_are_wanted_are_the_fewest() -> None:
    found = told(between=0.5).units_for(COVERAGE, CONFIDENCE)

    assert found is not None
    aim = 1.1 * 2.5758 * told(between=0.5).spread  # the normal quantile of 99.5 %
    widths = [told(between=0.5).of_units(count).half_width(COVERAGE, CONFIDENCE) for count in (found, found - 1)]
    assert widths[0] <= aim < widths[1]


def test_both_levels_are_told_apart() -> None:
    random = np.random.default_rng(4)
    units = tuple(3.0 + 2.0 * random.standard_normal() + 0.5 * random.standard_normal(KEYS) for _ in range(200))

    found = two_levels(units)

    assert (found.mean, found.between, found.within) == pytest.approx((3.0, 2.0, 0.5), rel=0.15)
    assert found.spread == pytest.approx(np.hypot(found.between, found.within))


def test_units_may_have_unequal_numbers_of_keys() -> None:
    units = (np.array([1.0, 3.0]), np.array([4.0, 6.0, 8.0, 6.0]))

    found = two_levels(units)

    assert (found.mean, found.means_variance) == (4.0, 8.0)  # of the means 2 and 6
    assert found.keys == pytest.approx(8.0 / 3.0)  # harmonic mean of 2 and 4
    assert found.keys_variance == pytest.approx((2.0 + 8.0) / 4.0)


def test_single_keys_tell_no_spread_of_keys() -> None:
    with pytest.raises(ValueError, match="give more keys"):
        two_levels((np.array([1.0]), np.array([2.0])))


def _over_ratios(units: int) -> Callable[[Array], Array]:
    """Return the half-width at a keys' variance of 1 as a function of the means' variance."""
    logs = np.linspace(np.log(1e-7), np.log(1e3), 60)
    widths = [
        TwoLevels(0.0, units, KEYS, float(np.exp(one)), 1.0, units * (KEYS - 1.0)).half_width(COVERAGE, CONFIDENCE)
        for one in logs
    ]
    return lambda ratio: np.exp(np.interp(np.log(ratio), logs, np.log(widths)))
