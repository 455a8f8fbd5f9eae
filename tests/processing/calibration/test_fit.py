"""Lines and parabolas against certified and printed results."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.calibration.errors import OutsideRange, TooFewReadings
from processing.calibration.fit import choose_degree, fit_polynomial, in_powers, predict, predict_inverse
from processing.calibration.settings import DegreeSettings

TRUTHS = Path(__file__).parents[2] / "truths" / "calibration"
CERTIFIED = json.loads((TRUTHS / "strd_certified.json").read_text())
LOADCELL = json.loads((TRUTHS / "loadcell_quadratic_published.json").read_text())
H3 = json.loads((TRUTHS.parent / "gum" / "h3_published.json").read_text())


def columns(name: str) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    with (TRUTHS / name).open() as file:
        rows = list(csv.DictReader(file))
    return {column: np.array([float(row[column]) for row in rows]) for column in rows[0]}


@pytest.mark.parametrize(("name", "x", "y", "degree"), [("pontius", "load", "deflection", 2), ("norris", "x", "y", 1)])
def test_certified_data_give_the_certified_digits(name: str, x: str, y: str, degree: int) -> None:
    """NIST StRD: certified to 15 digits; double arithmetic keeps 9 at least in this parametrization."""
    data, certified = columns(f"{name}.csv"), CERTIFIED[name]

    fit = fit_polynomial(data[x], data[y], degree)
    coefficients, covariance = in_powers(fit)

    assert coefficients == pytest.approx([float(c) for c in certified["coef"]], rel=1e-9)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([float(c) for c in certified["sd"]], rel=1e-9)
    assert fit.residual_sd == pytest.approx(float(certified["resid_sd"]), rel=1e-10)


def test_the_drop_of_pontius_is_the_f_of_its_own_t() -> None:
    """For one more term F = t^2: the certified third coefficient over its certified standard deviation."""
    data, certified = columns("pontius.csv"), CERTIFIED["pontius"]

    _, choice = choose_degree(data["load"], data["deflection"])

    assert choice.degree == 2
    assert choice.f == pytest.approx((float(certified["coef"][2]) / float(certified["sd"][2])) ** 2, rel=1e-7)


def test_the_load_cell_of_the_handbook_has_its_printed_covariance() -> None:
    """e-Handbook 2.3.6.7, 33 readings: 7 printed digits of the covariance, 4 of the coefficients."""
    data = columns("loadcell_quadratic.csv")

    fit, choice = choose_degree(data["load_psi"], data["reading"])
    coefficients, covariance = in_powers(fit)

    assert choice.degree == 2
    assert fit.dof == LOADCELL["df"]
    assert coefficients == pytest.approx(LOADCELL["coef_READ"], rel=5e-4)
    assert covariance == pytest.approx(np.array(LOADCELL["cov_READ"]), rel=1e-6)
    assert fit.residual_sd == pytest.approx(LOADCELL["resid_sd_READ"], rel=2e-4)


def test_the_way_back_through_the_load_cell_solves_its_parabola() -> None:
    """At Y' = 1.344 the fit gives 13.4138 (the handbook's plot says 13.417, which does not follow from its fit)."""
    data = columns("loadcell_quadratic.csv")
    fit = fit_polynomial(data["load_psi"], data["reading"], 2)

    x, u = predict_inverse(fit, 1.344, u_y=fit.residual_sd)

    c0, c1, c2 = in_powers(fit)[0]
    assert x == pytest.approx((-c1 + np.sqrt(c1**2 - 4.0 * c2 * (c0 - 1.344))) / (2.0 * c2), rel=1e-9)
    assert x == pytest.approx(13.4138, abs=1e-4)
    gradient = np.array([1.0, x, x**2])
    u_curve2 = gradient @ in_powers(fit)[1] @ gradient
    assert u == pytest.approx(np.sqrt(fit.residual_sd**2 + u_curve2) / (c1 + 2.0 * c2 * x), rel=1e-6)


def test_the_thermometer_of_the_gum_has_its_printed_numbers() -> None:
    """GUM H.3: line in (t - 20), its covariance, and the correction at 30 degrees."""
    data = columns("../gum/h3_thermometer.csv")
    fit = fit_polynomial(data["t_k_degC"] - H3["t0"], data["b_k_degC"], 1)

    (y1, y2), covariance = in_powers(fit)
    b30, u_b30 = predict(fit, 10.0)

    assert (y1, y2) == (pytest.approx(H3["y1"], abs=5e-5), pytest.approx(H3["y2"], abs=5e-6))
    assert np.sqrt(np.diag(covariance)) == pytest.approx([H3["s_y1"], H3["s_y2"]], rel=0.02)
    assert covariance[0, 1] / np.sqrt(np.prod(np.diag(covariance))) == pytest.approx(H3["r_y1y2"], abs=0.005)
    assert fit.residual_sd == pytest.approx(H3["s"], abs=5e-5)
    assert (fit.dof, float(b30), float(u_b30)) == (
        H3["df"], pytest.approx(H3["b30"], abs=5e-5), pytest.approx(H3["u_b30"], abs=5e-5)
    )  # fmt: skip


def test_weights_count_as_repeated_readings() -> None:
    """A reading with half the variance counts like two equal ones: same coefficients (normal equations)."""
    x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.1, 0.9, 2.2, 2.9])

    weighted = fit_polynomial(x, y, 1, [1.0, 1.0, np.sqrt(0.5), 1.0])
    doubled = fit_polynomial(np.append(x, 2.0), np.append(y, 2.2), 1)

    assert in_powers(weighted)[0] == pytest.approx(in_powers(doubled)[0], rel=1e-12)


@given(
    coefficients=st.tuples(st.floats(-1.0, 1.0), st.floats(0.5, 2.0), st.floats(-0.05, 0.05)),
    at=st.floats(0.0, 4.0),
)
def test_the_way_back_undoes_the_way_there(coefficients: tuple[float, float, float], at: float) -> None:
    x = np.linspace(0.0, 4.0, 9)
    fit = fit_polynomial(x, np.polynomial.polynomial.polyval(x, coefficients), 2)

    assert predict_inverse(fit, float(predict(fit, at)[0]))[0] == pytest.approx(at, abs=1e-8)


@pytest.mark.parametrize("alpha", [0.025, 0.2])
def test_a_straight_cell_gets_a_parabola_as_rarely_as_stated(alpha: float) -> None:
    """F test under its null hypothesis: alpha; 2000 draws know it within three standard deviations."""
    random, x = np.random.default_rng(11), np.linspace(0.0, 1.0, 12)
    setting = DegreeSettings(alpha=alpha)

    found = [choose_degree(x, 2.0 * x + random.standard_normal(12), settings=setting)[1].degree for _ in range(2000)]

    assert np.mean(np.array(found) == 2) == pytest.approx(alpha, abs=3.0 * np.sqrt(alpha * (1.0 - alpha) / 2000))


def test_readings_without_scatter_on_a_line_stay_a_line() -> None:
    x = np.array([0.0, 1.0, 2.0, 3.0, 4.0]) * 1e5

    assert choose_degree(x, 3.0 * x)[1].degree == 1


def test_too_few_readings_say_how_many_are_needed() -> None:
    with pytest.raises(TooFewReadings, match="at least 4 readings at 3 places"):
        fit_polynomial([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], 2)


def test_a_value_beyond_the_calibration_is_refused() -> None:
    fit = fit_polynomial([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 2.1, 3.0], 1)

    with pytest.raises(OutsideRange, match="met 0 times"):
        predict_inverse(fit, 9.0)
