"""Charts against the e-Handbook's worked examples (tests/truths/control) and closed forms."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.control.charts import (
    Baseline,
    baseline_of,
    cumulative_sums,
    individuals,
    means,
    moving_average,
    moving_ranges,
    sample_baseline,
    standard_deviations,
)


def published(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((Path(__file__).parents[2] / f"truths/control/{name}.json").read_text())
    return found


def test_the_moving_average_is_the_handbooks() -> None:
    """e-Handbook 6.3.2.4: 21 values with the start at 50; the lower limit is printed cut off, so 1e-4."""
    book = published("ewma")
    baseline = Baseline(book["ewma0"], book["s"], 20)

    chart = moving_average(np.array(book["data"]), baseline, weight=book["lambda"], width=book["k"], asymptotic=True)

    assert chart.points == pytest.approx(book["ewma"][1:], abs=0.006)
    assert (chart.lower[0], chart.upper[0]) == pytest.approx((book["LCL"], book["UCL"]), abs=1e-4)
    assert list(chart.signals) == book["out_of_control"] == []


def test_limits_of_the_moving_average_begin_narrow_and_end_at_the_asymptote() -> None:
    """The first average is weight * value: its standard deviation is weight * sigma."""
    baseline, values = Baseline(0.0, 2.0, 20), np.zeros(200)

    chart = moving_average(values, baseline, weight=0.2, width=3.0)

    assert chart.upper[0] == pytest.approx(3.0 * 0.2 * 2.0)
    assert chart.upper[-1] == pytest.approx(moving_average(values, baseline, weight=0.2, asymptotic=True).upper[-1])


def test_cumulative_sums_are_the_handbooks() -> None:
    """e-Handbook 6.3.2.3: printed to two decimals from rounded steps; signals from the 14th value on."""
    book = published("cusum")
    values = np.array(book["data"])

    chart = cumulative_sums(values, Baseline(book["target"], 1.0, 20), allowance=book["k"], width=book["h"])

    assert chart.high == pytest.approx(book["S_hi"], abs=0.011)
    assert chart.low == pytest.approx(book["S_lo"], abs=0.011)
    assert chart.signals[0] + 1 == book["first_signal_1based"]


def test_single_values_and_moving_ranges_are_the_handbooks() -> None:
    """e-Handbook 6.3.2.2: d2 is rounded to 1.128 there; the limit of the range follows from D4 = 3.267."""
    book = published("individuals_mr")
    values = np.array(book["data"])
    baseline = baseline_of(values)

    chart, ranges = individuals(values, baseline), moving_ranges(values, baseline)

    assert baseline.centre == pytest.approx(book["mean"])
    assert (chart.lower[0], chart.upper[0]) == pytest.approx((book["LCL"], book["UCL"]), abs=2e-3)
    assert ranges.centre == pytest.approx(book["MRbar"], abs=1e-4)
    assert ranges.upper[0] == pytest.approx(book["MR_UCL_secondary"], abs=2e-3)
    assert np.isnan(ranges.points[0])
    assert chart.signals == ranges.signals == ()


def test_means_and_standard_deviations_of_samples_stand_between_their_closed_limits() -> None:
    """Two samples of 3: s = 1 each, so sigma = 1 / c4(3), and X-bar -+ A3 * mean s = 1.954 (table, from memory)."""
    samples = [np.array([9.0, 10.0, 11.0]), np.array([10.0, 11.0, 12.0])]
    baseline = sample_baseline(samples)

    over, spread = means(samples, baseline), standard_deviations(samples, baseline)

    assert over.centre == 10.5
    assert over.upper - over.centre == pytest.approx(1.954, abs=6e-4)
    assert spread.upper == pytest.approx(2.568, abs=6e-4)
    assert spread.lower == pytest.approx(0.0)


def test_a_missing_value_signals_nothing_and_moves_nothing() -> None:
    values = np.array([1.0, np.nan, 1.0])
    baseline = Baseline(0.0, 1.0, 20)

    assert np.isnan(individuals(values, baseline).points[1])
    assert moving_average(values, baseline).points[2] == pytest.approx(0.2 + 0.8 * 0.2)
    assert cumulative_sums(values, baseline).high.tolist() == [0.5, 0.5, 1.0]


@given(
    st.lists(st.floats(-100.0, 100.0), min_size=3, max_size=40), st.floats(0.1, 10.0), st.floats(-50.0, 50.0)
)  # fmt: skip
def test_charts_do_not_care_for_the_unit(values: list[float], scale: float, offset: float) -> None:
    baseline, other = Baseline(0.3, 1.7, 20), Baseline(scale * 0.3 + offset, scale * 1.7, 20)
    plain = np.array(values)

    for chart in (individuals, moving_average):
        mine, shown = chart(plain, baseline), chart(scale * plain + offset, other)
        assert shown.points == pytest.approx(scale * mine.points + offset, rel=1e-9, abs=1e-6)
        assert shown.upper == pytest.approx(scale * mine.upper + offset, rel=1e-9, abs=1e-6)


def test_a_baseline_of_one_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="two at least"):
        baseline_of(np.array([1.0]))
