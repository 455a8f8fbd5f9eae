"""Published answers for estimates, spreads and the libraries that they rest on."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import f_oneway, ttest_ind

from processing.budget.lines import Budget, Line
from processing.budget.propagation import combine
from processing.statistics.correlated import Estimate
from processing.statistics.scatter import Scatter, ratio_of_spreads
from tests.processing.statistics.truths import FOLDER, column, table, told


def mean_of_sample(values: np.ndarray) -> Estimate:  # type: ignore[type-arg]
    return Estimate(float(values.mean()), float(values.std(ddof=1) / np.sqrt(len(values))), len(values) - 1.0)


def difference_of(first: np.ndarray, second: np.ndarray) -> Estimate:  # type: ignore[type-arg]
    one, other = mean_of_sample(first), mean_of_sample(second)
    lines = tuple(
        Line(name=name, kind="A", distribution="t", u=part.u, unit="1", dof=part.dof)
        for name, part in (("one", one), ("other", other))
    )
    both = combine(Budget(measurand="difference", unit="1", value=one.value - other.value, lines=lines))
    return Estimate(one.value - other.value, both.u, both.dof)


def test_two_independent_parts_give_welchs_t_of_the_handbook() -> None:
    """AUTO83B, e-Handbook 1.3.5.3: T = -12.94627 for unequal variances."""
    data, published = table("two_sample_t_auto83b.csv"), told("two_sample_t_published.json")
    us, japan = (group["mpg"].to_numpy(np.float64) for _, group in sorted(data.groupby("sample"), reverse=True))
    assert (len(us), len(japan)) == tuple(published["n"])

    told_difference = difference_of(us, japan)

    assert told_difference.value / told_difference.u == pytest.approx(published["T_welch_secondary"], abs=1e-5)
    assert told_difference.p == pytest.approx(ttest_ind(us, japan, equal_var=False).pvalue, rel=1e-9)
    assert ttest_ind(us, japan).statistic == pytest.approx(published["T_pooled"], abs=1e-5)


def test_the_ratio_of_spreads_without_own_variance_is_the_f_test_of_the_handbook() -> None:
    """JAHANMI2, e-Handbook 1.3.5.9: F = 1.123037; the 0.185191 there is the upper tail, half of two-sided."""
    data, published = table("f_test_jahanmi2.csv"), told("f_test_jahanmi2_published.json")
    batches = [group["strength"].to_numpy() for _, group in data.groupby("bar_batch")]
    scatters = [Scatter(float(batch.var(ddof=1)), len(batch) - 1.0, 0.0, len(batch)) for batch in batches]

    found = ratio_of_spreads(scatters[1], scatters[0])

    assert found is not None
    assert found.ratio**2 == pytest.approx(published["F"], abs=2e-6)
    assert found.p == pytest.approx(2 * published["p_two_sided_secondary"], rel=1e-3)
    critical_low, critical_high = published["crit"]
    assert (found.low**2, found.high**2) == pytest.approx(
        (published["F"] / critical_high, published["F"] / critical_low), rel=1e-3
    )


@pytest.mark.parametrize("name", ["lew", "mavro", "michelso", "numacc1", "numacc2", "numacc3", "numacc4"])
def test_mean_spread_and_autocorrelation_have_the_certified_digits(name: str) -> None:
    """NIST StRD, univariate. NumAcc3 and 4 lose digits in double: 13 and 15 leading ones are constant in all values."""
    values, certified = column(f"{name}.csv"), told("strd_certified.json")[name]
    off = values - values.mean()

    assert values.mean() == pytest.approx(float(certified["mean"]), rel=1e-14)
    assert values.std(ddof=1) == pytest.approx(float(certified["sd"]), rel=2e-8)
    assert (off[1:] @ off[:-1]) / (off @ off) == pytest.approx(float(certified["r1"]), rel=2e-8)


@pytest.mark.parametrize(("name", "digits"), [("SiRstv", 1e-9), ("AtmWtAg", 1e-6), ("SmLs01", 1e-12), ("SmLs04", 1e-8)])
def test_analysis_of_variance_has_the_certified_f(name: str, digits: float) -> None:
    """NIST StRD, analysis of variance, by scipy; the higher the set, the more leading digits are constant."""
    text = (FOLDER / f"{name}.dat").read_text(encoding="utf-8").splitlines()
    certified = float(next(line for line in text if line.startswith("Between")).split()[-1])
    rows = [line.split() for line in text[60:] if line.strip()]
    groups: dict[str, list[float]] = {}
    for row in rows:
        groups.setdefault(row[0], []).append(float(row[1]))

    assert f_oneway(*groups.values()).statistic == pytest.approx(certified, rel=digits)


def test_the_hardest_set_needs_its_constant_taken_off_first() -> None:
    """SmLs07: 13 constant leading digits; double precision has the certified F = 21 if 1e12 is taken off first."""
    text = (FOLDER / "SmLs07.dat").read_text(encoding="utf-8").splitlines()
    rows = [line.split() for line in text[60:] if line.strip()]
    groups: dict[str, list[float]] = {}
    for row in rows:
        groups.setdefault(row[0], []).append(round(float(row[1]) - 1e12, 1))

    assert f_oneway(*groups.values()).statistic == pytest.approx(21.0, rel=1e-10)
