"""Capability against the e-Handbook, closed forms and drawing."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, chi2, expon, norm

from processing.control.capability import MOVING_RANGE_DOF, capability, normal_indices
from processing.control.charts import baseline_of
from processing.control.pareto import pareto

BOOK = json.loads((Path(__file__).parents[2] / "truths/control/capability.json").read_text())


def test_indices_are_the_handbooks() -> None:
    """e-Handbook 6.1.6: limits 8 and 20, mean 16, s = 2."""
    both, worse = normal_indices(BOOK["mean"], BOOK["s"], 50, 49, lower=BOOK["LSL"], upper=BOOK["USL"])

    assert both is not None
    assert both.value == BOOK["Cp"]
    assert worse.value == pytest.approx(BOOK["Cpk"], abs=5e-5)
    assert normal_indices(16.0, 2.0, 50, 49, lower=8.0, upper=None)[1].value == pytest.approx(BOOK["Cpl"], abs=5e-5)


def test_the_interval_of_the_first_index_is_that_of_a_standard_deviation() -> None:
    both, _ = normal_indices(0.0, 1.0, 30, 29, lower=-4.0, upper=4.0)

    assert both is not None
    assert both.low == pytest.approx(4.0 / 3.0 * np.sqrt(chi2.ppf(0.025, 29) / 29))
    assert both.high == pytest.approx(4.0 / 3.0 * np.sqrt(chi2.ppf(0.975, 29) / 29))


def test_intervals_hold_the_truth_as_often_as_stated() -> None:
    """Cp, Cpk from the moving range, Pp, Ppk from s: 40 units, mean half a sigma off; Bissell's is an approximation."""
    random, tries = np.random.default_rng(1), 1000
    held = dict.fromkeys(("cp", "cpk", "pp", "ppk"), 0)
    for _ in range(tries):
        found = capability(random.standard_normal(40) + 0.5, lower=-4.0, upper=4.0, normal_alpha=0.0)
        for name in held:
            index = getattr(found, name)
            held[name] += index.low <= {"cp": 8.0 / 6.0, "pp": 8.0 / 6.0}.get(name, 3.5 / 3.0) <= index.high

    low, high = binom.ppf([0.001, 0.999], tries, 0.95)
    assert all(low - 10 <= count <= high + 10 for count in held.values()), held  # a hundredth for the approximations


def test_a_mean_moving_range_has_the_stated_degrees_of_freedom() -> None:
    """Of a spread: 1 / (2 * relative variance)."""
    random = np.random.default_rng(2)
    found = np.array([baseline_of(random.standard_normal(40)).sigma for _ in range(4000)])

    assert 0.5 * (found.mean() / found.std()) ** 2 == pytest.approx(MOVING_RANGE_DOF * 39, rel=0.07)


def test_values_that_are_not_normal_are_judged_by_their_quantiles() -> None:
    """Exponential: the truth of Ppk against an upper limit is (U - median) / (q99.865 - median)."""
    values = expon.ppf((np.random.default_rng(3).permutation(2000) + 0.5) / 2000)
    truth = (8.0 - expon.median()) / (expon.ppf(norm.cdf(3.0)) - expon.median())

    found = capability(values, lower=None, upper=8.0)

    assert found.by == "quantiles"
    assert found.normal_p < 1e-6
    assert found.pp is None
    assert found.cp is None
    assert found.ppk.value == pytest.approx(truth, rel=0.03)
    assert found.ppk.low <= truth <= found.ppk.high
    assert found.beyond == pytest.approx(np.exp(-8.0), abs=2e-4)


def test_normal_values_are_judged_as_such_and_say_how_many_lie_beyond() -> None:
    values = norm.ppf((np.arange(100) + 0.5) / 100)

    found = capability(values, lower=-3.0, upper=3.0)

    assert found.by == "normal values"
    assert found.beyond == pytest.approx(0.0027, abs=3e-4)


@pytest.mark.parametrize(
    ("values", "lower", "upper", "why"),
    [
        ([1.0] * 20, 0.0, 2.0, "same value"),
        ([1.0, 2.0, 3.0], 0.0, 4.0, "too few"),
        (list(range(20)), None, None, "needs a limit"),
        (list(range(20)), 5.0, 5.0, "not below"),
    ],
)
def test_what_has_no_index_says_why(values: list[float], lower: float | None, upper: float | None, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        capability(np.array(values, np.float64), lower=lower, upper=upper)


def test_reasons_fall_in_number_and_say_what_they_cover_together() -> None:
    rows = pareto([("a", "x"), ("a", "x"), ("b", "x"), ("b", "y"), ("c", "y"), ("d", "z")])

    assert [(row.reason, row.units, row.first, row.covered) for row in rows] == [
        ("x", 2, 2, 0.5),
        ("y", 2, 1, 0.75),
        ("z", 1, 1, 1.0),
    ]
    assert pareto([]) == ()
