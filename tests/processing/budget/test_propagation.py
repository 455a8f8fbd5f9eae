"""The law of propagation against the GUM's own examples, closed forms and laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.budget.lines import Budget
from processing.budget.propagation import combine, coverage_factor, shares
from tests.processing.budget.budgets import GUM, a_budget, a_line, published, table

us = st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=6)


def test_the_end_gauge_of_the_gum() -> None:
    """GUM H.1: six lines (the three of the difference of lengths told singly) give u_c 32 nm, nu 16, U99 93 nm."""
    truth = published("h1_published.json")
    put_in, printed = truth["inputs"], truth["contributions_nm"]
    length_nm, u_nm, dof = put_in["ls_nm"]
    budget = a_budget(
        [
            u_nm,
            *(put_in[name][1] for name in ("d_obs", "d_random", "d_syst")),
            put_in["d_alpha_halfwidth"] / np.sqrt(3.0),
            put_in["d_theta_halfwidth"] / np.sqrt(3.0),
        ],
        dofs=[dof, *(put_in[name][2] for name in ("d_obs", "d_random", "d_syst")), 50, 2],
        sensitivities=[1, 1, 1, 1, -length_nm * put_in["theta_bar"][0], -length_nm * put_in["alpha_s"]],
        value=truth["l_nm"],
    )
    total = combine(budget)

    assert [abs(line.contribution) for line in budget.lines] == pytest.approx(list(printed.values()), abs=0.06)
    assert total.u == pytest.approx(31.66, abs=0.05)
    assert round(total.u) == truth["u_c_nm"]
    assert total.dof == pytest.approx(truth["nu_eff"], abs=0.1)
    assert total.coverage_factor(0.99) == pytest.approx(truth["t99_16"], abs=0.005)  # nu cut to 16 first
    assert round(total.coverage_factor(0.99) * round(total.u)) == truth["U99_nm"]


def test_the_impedance_of_the_gum_with_its_correlated_readings() -> None:
    """GUM H.2: R = V/I cos phi, X = V/I sin phi, Z = V/I from five readings of each.

    The raw readings give u(X) = 0.2956; 0.295 is in print, so a unit of the last digit is allowed.
    """
    truth, readings = published("h2_published.json"), table("h2_impedance.csv") * [1.0, 1e-3, 1.0]
    volt, ampere, phi = readings.mean(axis=0)
    covariance = np.cov(readings.T) / len(readings)
    u = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(u, u)
    z, cos, sin = volt / ampere, np.cos(phi), np.sin(phi)
    gradients = {
        "R": [cos / ampere, -z * cos / ampere, -z * sin],
        "X": [sin / ampere, -z * sin / ampere, z * cos],
        "Z": [1.0 / ampere, -z / ampere, 0.0],
    }
    pairs = [(0, 1, float(r[0, 1])), (0, 2, float(r[0, 2])), (1, 2, float(r[1, 2]))]

    assert [pair[2] for pair in pairs] == pytest.approx(list(truth["r"].values()), abs=0.005)
    for name, gradient in gradients.items():
        budget = a_budget(list(u), sensitivities=gradient, r=pairs, dofs=[4.0] * 3)
        assert combine(budget).u == pytest.approx(truth[f"u_{name}"], abs=0.001)
        assert combine(budget).dof == pytest.approx(4.0)
    alone = a_budget(list(u), sensitivities=gradients["R"])
    assert combine(alone).u == pytest.approx(truth["ignoring_correlation_secondary"]["u_R"], abs=0.001)


def test_the_thermometer_of_the_gum_with_its_fitted_line() -> None:
    """GUM H.3: b(30) = y1 + 10 y2 of a fitted line, with the covariance of its coefficients; 9 degrees of freedom."""
    truth = published("h3_published.json")
    celsius, correction = table("h3_thermometer.csv").T
    design = np.vander(celsius - truth["t0"], 2, increasing=True)
    fitted, (residual,), _, _ = np.linalg.lstsq(design, correction)
    covariance = np.linalg.inv(design.T @ design) * residual / truth["df"]
    u1, u2 = np.sqrt(np.diag(covariance))
    r = float(covariance[0, 1] / u1 / u2)
    total = combine(a_budget([u1, u2], sensitivities=[1.0, 10.0], r=[(0, 1, r)], dofs=[9.0, 9.0]))

    assert fitted @ [1.0, 10.0] == pytest.approx(truth["b30"], abs=5e-5)
    assert (u1, u2) == pytest.approx((truth["s_y1"], truth["s_y2"]), abs=5e-5)
    assert r == pytest.approx(truth["r_y1y2"], abs=0.001)
    assert total.u == pytest.approx(truth["u_b30"], abs=5e-5)
    assert total.dof == pytest.approx(9.0)
    assert total.coverage_factor(0.95) == coverage_factor(9.0, 0.95)  # 8.999999999999998 is not cut to 8


@pytest.mark.parametrize(("page", "within"), [("g2_t_factors_read.csv", 0.0051), ("g2_t_factors_computed.csv", 1e-6)])
def test_coverage_factors_are_those_of_table_g2(page: str, within: float) -> None:
    """GUM table G.2, as printed and as computed; for nu = 1 four digits are printed (235.8)."""
    rows = [line.split(",") for line in (GUM / page).read_text().split()[1:]]

    assert len(rows) >= 12
    for percent, dof, factor in rows:
        widest = max(within, 0.05 if float(factor) > 100.0 and within > 1e-3 else 0.0)
        assert coverage_factor(float(dof), float(percent) / 100.0) == pytest.approx(float(factor), abs=widest)


def test_degrees_of_freedom_are_cut_before_the_look_up() -> None:
    assert coverage_factor(16.99, 0.95) == coverage_factor(16.0, 0.95)
    assert coverage_factor(0.7, 0.95) == coverage_factor(1.0, 0.95)


@given(us, st.floats(0.0, 1e3))
def test_one_more_line_never_makes_a_number_surer(known: list[float], more: float) -> None:
    assert combine(a_budget([*known, more])).u >= combine(a_budget(known)).u


@given(us)
def test_lines_that_err_together_add_up(known: list[float]) -> None:
    """Correlation +1: u is the sum of the contributions (GUM 5.2.2, note 1)."""
    everyone = [(i, j, 1.0) for i in range(len(known)) for j in range(i)]

    assert combine(a_budget(known, r=everyone)).u == pytest.approx(sum(known), rel=1e-9)


@given(st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_lines_that_err_against_each_other_cancel(one: float, other: float) -> None:
    assert combine(a_budget([one, other], r=[(0, 1, -1.0)])).u == pytest.approx(abs(one - other), abs=1e-4)


@given(us, st.randoms(use_true_random=False))
def test_the_order_of_lines_changes_nothing(known: list[float], random) -> None:  # type: ignore[no-untyped-def]
    pairs = [(0, len(known) - 1, 0.5)] if len(known) > 1 else []
    budget = a_budget(known, r=pairs, dofs=[3.0 + place for place in range(len(known))])
    shuffled = list(budget.lines)
    random.shuffle(shuffled)
    again = combine(replace(budget, lines=tuple(shuffled)))

    assert (again.u, again.dof) == pytest.approx((combine(budget).u, combine(budget).dof), rel=1e-12)


@given(us)
def test_degrees_of_freedom_lie_between_the_fewest_and_the_sum(known: list[float]) -> None:
    """GUM G.4.1: nu_eff <= sum of nu; and never under the fewest."""
    dofs = [2.0 + place for place in range(len(known))]

    assert min(dofs) * (1 - 1e-12) <= combine(a_budget(known, dofs=dofs)).dof <= sum(dofs) * (1 + 1e-12)


def test_a_correlated_group_counts_as_one_part_with_its_fewest_degrees_of_freedom() -> None:
    """By hand: the group has u 7 and nu 5, the third line u 2 and nu 10; nu = 53^2 / (7^4/5 + 2^4/10)."""
    total = combine(a_budget([3.0, 4.0, 2.0], r=[(0, 1, 1.0)], dofs=[5.0, 8.0, 10.0]))

    assert total.u == pytest.approx(np.sqrt(53.0))
    assert total.dof == pytest.approx(53.0**2 / (7.0**4 / 5.0 + 2.0**4 / 10.0))


@given(us, st.floats(-0.9, 0.9))
def test_shares_add_up_to_the_whole(known: list[float], r: float) -> None:
    budget = a_budget(known, r=[(0, 1, r)] if len(known) > 1 else [])

    assert sum(shares(budget).values()) == pytest.approx(1.0)


def test_a_budget_of_nothing_is_sure() -> None:
    budget = Budget(measurand="y", unit="1", value=1.0, lines=(a_line(u=0.0),))

    assert combine(budget).u == 0.0
    assert shares(budget) == {"a": 0.0}


@pytest.mark.parametrize(
    "make",
    [
        lambda: a_line(u=-1.0),
        lambda: a_line(u=np.nan),
        lambda: a_line(dof=0.0),
        lambda: a_budget([1.0, 1.0], r=[(0, 1, 1.1)]),
        lambda: a_budget([1.0, 1.0], r=[(0, 0, 0.5)]),
        lambda: Budget(measurand="y", unit="1", value=0.0, lines=(a_line(), a_line())),
        lambda: combine(a_budget([1.0, 1.0, 1.0], r=[(0, 1, -1.0), (0, 2, -1.0), (1, 2, -1.0)])),
    ],
)
def test_what_cannot_be_a_budget_is_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"a: |y: "):
        make()
