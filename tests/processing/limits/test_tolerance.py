"""Tolerance intervals of one sample."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta, binom, nct, norm

from processing.limits.tolerance import (
    by_order,
    half_width_needed,
    one_sided_factor,
    smallest,
    two_sided_factor,
    values_for_factor,
    values_for_order,
)
from tests.processing.limits.truths import table, told

E_HANDBOOK = told("nist_prc263.json")
AS_GOOD_AS_ENDLESS = 1e12

shares = st.floats(0.6, 0.999)


def test_every_two_sided_factor_of_the_standard_is_met_when_rounded_up() -> None:
    """ISO 16269-6, annex F: 690 factors, the standard deviation pooled from m samples of n."""
    printed = table("iso16269_6_annexF_two_sided_exact.csv")
    printed["n"] = printed["n"].clip(upper=AS_GOOD_AS_ENDLESS)

    found = np.array(
        [two_sided_factor(row.n, row.coverage, row.confidence, dof=row.m * (row.n - 1)) for row in printed.itertuples()]
    )

    assert len(found) == 690
    beyond = printed["k"].to_numpy() - found
    assert (beyond > -1e-6).all()
    assert (beyond < 1e-4 + 1e-6).all()


def test_every_one_sided_factor_of_the_table_is_met() -> None:
    printed = table("one_sided_normal_k.csv")

    found = [one_sided_factor(row.n, row.coverage, row.confidence) for row in printed.itertuples()]

    assert len(found) == 288
    assert np.abs(printed["k"] - found).max() < 5.01e-4  # three decimals are printed


def test_the_handbooks_one_sided_factors_are_met() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: 43 values, and 6."""
    share, confidence = E_HANDBOOK["p"], E_HANDBOOK["gamma"]

    found = [one_sided_factor(count, share, confidence) for count in (E_HANDBOOK["N"], 6)]

    assert found == pytest.approx([E_HANDBOOK["one_sided_noncentral_t_k1"], E_HANDBOOK["N6_noncentral"]], abs=6e-5)


def test_the_handbooks_approximate_two_sided_factor_is_near() -> None:
    """Howe's formula (e-Handbook 7.2.6.3) is an approximation; the exact factor is 0.25 % larger here."""
    found = two_sided_factor(E_HANDBOOK["N"], E_HANDBOOK["p"], E_HANDBOOK["gamma"])

    assert found == pytest.approx(E_HANDBOOK["two_sided_howe_k2"], rel=0.003)


@pytest.mark.parametrize("count", [2, 30, 3000])
@pytest.mark.parametrize("coverage", [0.9, 0.999])
def test_a_one_sided_factor_is_the_quantile_of_the_noncentral_t(count: int, coverage: float) -> None:
    quantile = nct.ppf(0.95, count - 1, norm.ppf(coverage) * np.sqrt(count))

    assert one_sided_factor(count, coverage, 0.95) == pytest.approx(quantile / np.sqrt(count), rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(count=st.integers(2, 200), coverage=shares, confidence=shares)
def test_surer_or_more_asks_for_wider_and_more_values_for_narrower(
    count: int, coverage: float, confidence: float
) -> None:
    for factor in (one_sided_factor, two_sided_factor):
        found = factor(count, coverage, confidence)
        assert factor(count + 5, coverage, confidence) < found
        assert factor(count, (1.0 + coverage) / 2.0, confidence) > found
        assert factor(count, coverage, (1.0 + confidence) / 2.0) > found


def test_the_half_width_needed_holds_what_it_must() -> None:
    errors = np.array([0.0, 0.3, 2.0, 6.0])

    needed = half_width_needed(errors, 0.95)

    assert norm.cdf(errors + needed) - norm.cdf(errors - needed) == pytest.approx(0.95, abs=1e-9)


@pytest.mark.parametrize(
    ("coverage", "both_ends", "one_end"),
    [
        pytest.param(0.90, 46, 29, id="90 %"),
        pytest.param(0.95, 93, 59, id="95 %"),
        pytest.param(0.99, 473, 299, id="99 %"),
    ],
)
def test_it_takes_the_published_number_of_values_for_extremes(coverage: float, both_ends: int, one_end: int) -> None:
    """With a confidence of 95 %: tables after Wilks, ISO 16269-6, annex (from memory)."""
    assert values_for_order(coverage, 0.95) == both_ends
    assert values_for_order(coverage, 0.95, ends=1) == one_end


def test_the_confidence_of_an_extreme_is_its_closed_form() -> None:
    """One end: 1 - P**n; both: 1 - n P**(n - 1) + (n - 1) P**n."""
    one, both = by_order(20, 0.9, 0.95, ends=1), by_order(20, 0.9, 0.95)

    assert one.confidence == pytest.approx(1.0 - 0.9**20)
    assert both.confidence == pytest.approx(1.0 - 20 * 0.9**19 + 19 * 0.9**20)
    assert not one.enough


@given(count=st.integers(60, 400), coverage=st.sampled_from([0.8, 0.9]), ends=st.sampled_from([1, 2]))
def test_an_order_interval_cuts_as_many_values_as_its_confidence_allows(count: int, coverage: float, ends: int) -> None:
    found = by_order(count, coverage, 0.95, ends=ends)

    outside = found.cut + ends
    assert found.enough == (binom.sf(outside - 1, count, 1.0 - coverage) >= 0.95)
    assert binom.sf(outside, count, 1.0 - coverage) < 0.95
    assert found.surely_covers == pytest.approx(beta(count + 1 - outside, outside).ppf(0.05), rel=1e-6)


def test_one_value_has_no_interval() -> None:
    assert (by_order(1, 0.9, 0.95).confidence, by_order(1, 0.9, 0.95).surely_covers) == (0.0, 0.0)
    with pytest.raises(ValueError, match="give two values"):
        two_sided_factor(1, 0.9, 0.95)


@pytest.mark.parametrize("ends", [1, 2])
def test_the_values_for_a_factor_are_the_fewest(ends: int) -> None:
    factor, share = (two_sided_factor, 0.975) if ends == 2 else (one_sided_factor, 0.95)

    found = values_for_factor(0.95, 0.95, ends=ends)

    assert found is not None
    aim = 1.1 * float(norm.ppf(share))
    assert factor(found, 0.95, 0.95) <= aim < factor(found - 1, 0.95, 0.95)


def test_what_no_number_of_values_reaches_is_told_as_none() -> None:
    assert smallest(lambda _: False, 2) is None
    assert values_for_factor(0.95, 0.95, excess=1e-9) is None


@pytest.mark.parametrize(("coverage", "confidence"), [(0.0, 0.95), (1.0, 0.95), (0.9, 1.0)])
def test_certainty_is_not_for_sale(coverage: float, confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        two_sided_factor(10, coverage, confidence)
    with pytest.raises(ValueError, match="between 0 and 1"):
        values_for_order(coverage, confidence)
