"""Masses into forces: limits, buoyancy, gravity, and how errors hang together."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.calibration.errors import MalformedMassList, OutsideRange, UnknownReference
from processing.calibration.gravity import Gravity, gravity_of_place, normal_gravity_m_per_s2
from processing.calibration.masses import (
    Mass,
    MassList,
    buoyancy_factor,
    load_mass_list,
    oiml_limits_mg,
    parse_mass_list,
    stack_forces,
    upright_share,
)
from processing.calibration.settings import GravitySettings, Surroundings

TRUTHS = Path(__file__).parents[2] / "truths" / "calibration"
BUOYANCY = json.loads((TRUTHS / "buoyancy.json").read_text())["checks"]
GRAVITY = json.loads((TRUTHS / "gravity.json").read_text())["GRS80"]
HERE = Gravity(9.81, 0.0, "measured")
UPRIGHT = Surroundings(tilt_limit_deg=0.0, air_density_limit_share=0.0)
LIST = """
certificate = "bench set, 2026"
correlation = 0.0
[[masses]]
name = "100"
nominal_g = 100.0
conventional_g = 100.00012
expanded_uncertainty_mg = 0.5
[[masses]]
name = "50"
nominal_g = 50.0
oiml_class = "M1"
"""


def a_list(correlation: float = 0.0, **changes: float) -> MassList:
    masses = tuple(Mass(name=str(g), nominal_g=float(g), oiml_class="M1", **changes) for g in (50, 100, 200))  # type: ignore[arg-type]
    return MassList(correlation=correlation, masses=masses)


def test_class_limits_are_those_of_the_recommendation() -> None:
    """OIML R 111-1, table 1, as read in three public copies."""
    with (TRUTHS / "oiml_r111_mpe.csv").open() as file:
        for row in csv.DictReader(file):
            limits = oiml_limits_mg()[float(row["nominal_g"])]
            assert {name: float(row[f"{name}_mg"]) for name in ("E2", "F1", "F2", "M1")} == {
                name: limits[name] for name in ("E2", "F1", "F2", "M1")
            }


def test_remembered_limits_keep_the_steps_of_the_table() -> None:
    """M2 is ten times F2 and M3 ten times M1 all along the table: no source of its own, a guard against slips."""
    for limits in oiml_limits_mg().values():
        assert (limits["M2"], limits["M3"]) == (pytest.approx(10 * limits["F2"]), pytest.approx(10 * limits["M1"]))


def test_a_mass_list_tells_values_and_uncertainties() -> None:
    """A certificate counts U / k; a class counts as a rectangle, limit / sqrt(3) (GUM 4.3.7): 3.0 mg for 50 g of M1."""
    by_certificate, by_class = parse_mass_list(LIST, "bench.toml").masses

    assert (by_certificate.mass_g, by_certificate.u_mg) == (100.00012, 0.25)
    assert (by_class.mass_g, by_class.u_mg) == (50.0, pytest.approx(3.0 / np.sqrt(3.0)))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "nominal_g = 50.0",
            "nominal_q = 50.0",
            r"bench.toml, line 11: masses.2.nominal_q: a mass list has no such key",
        ),
        ("nominal_g = 50.0", "nominal_g = -50.0", r"bench.toml, line 11: masses.2.nominal_g: .* greater than 0"),
        ('oiml_class = "M1"', "", r"bench.toml, line 9: masses.2: give its certificate"),
        ('oiml_class = "M1"', 'oiml_class = "X1"', r"line 12: masses.2.oiml_class"),
        ('name = "50"', 'name = "100"', r"two masses are called '100'"),
        ("expanded_uncertainty_mg = 0.5", "", r"line 4: masses.1: a certificate has both"),
        ("conventional_g = 100.00012", "conventional_g = 10.000", r"is it a slip"),
        ("nominal_g = 50.0", "nominal_g = 51.0", r"no class limit for 51 g"),
        ("[[masses]]", "[[masses", r"bench.toml"),
    ],
)
def test_a_faulty_list_is_refused_with_its_place(old: str, new: str, said: str) -> None:
    with pytest.raises(MalformedMassList, match=said):
        parse_mass_list(LIST.replace(old, new), "bench.toml")


def test_a_missing_list_is_told(tmp_path: Path) -> None:
    with pytest.raises(MalformedMassList, match="no such file"):
        load_mass_list(tmp_path / "none.toml")


def test_a_list_in_another_encoding_is_told(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_bytes(b'certificate = "\xfc"')

    with pytest.raises(MalformedMassList, match="UTF-8"):
        load_mass_list(tmp_path / "bench.toml")


def test_buoyancy_has_its_exact_values() -> None:
    """Conventional mass by definition: true mass times (1 - 1.2/rho) / (1 - 1.2/8000)."""
    assert buoyancy_factor(np.array([8000.0, 2700.0]), 1.2) == pytest.approx([BUOYANCY["factor_1.2_over_8000"]] * 2)
    # in vacuum the factor is true over conventional mass
    assert 1.0 / buoyancy_factor(np.array([8400.0, 2700.0]), 0.0) == pytest.approx(
        [
            BUOYANCY["brass_8400_true100g_conventional_g"] / 100.0,
            BUOYANCY["alu_2700_true100g_conventional_g"] / 100.0,
        ],
        rel=1e-12,
    )


def test_steel_of_nearly_8000_has_nearly_its_true_mass_as_conventional_mass() -> None:
    """The division by (1 - 1.2/8000) belongs to the definition; without it a kilogram would lack 150 mg."""
    in_vacuum = buoyancy_factor(np.array([7950.0]), 0.0)[0]

    assert 1.0 / in_vacuum == pytest.approx(BUOYANCY["steel_7950_true1kg_conventional_kg"], rel=1e-12)
    assert abs(1.0 / in_vacuum - 1.0) < 1e-6


def test_a_stack_pushes_with_the_sum_of_its_masses() -> None:
    forces = stack_forces([(), ("50",), ("50", "200")], a_list(), HERE, UPRIGHT)

    assert forces.force_newton == pytest.approx([0.0, 0.05 * 9.81 * 0.99985, 0.25 * 9.81 * 0.99985], rel=1e-12)
    assert forces.u_newton[0] == 0.0


def test_steps_that_share_a_mass_share_its_error() -> None:
    """Only the 50 g is common: covariance is its variance times (g * 0.99985)^2 (GUM F.1.2.3)."""
    forces = stack_forces([("50", "100"), ("50", "200")], a_list(density_u_kg_per_m3=0.0), HERE, UPRIGHT)

    u_of_50 = 3.0e-6 / np.sqrt(3.0) * 9.81 * 0.99985
    assert forces.covariance_newton2[0, 1] == pytest.approx(u_of_50**2, rel=1e-9)


def test_masses_weighed_against_one_reference_add_their_errors() -> None:
    """Correlation 1: uncertainties add arithmetically (common practice; GUM 5.2.2 note 1)."""
    forces = stack_forces([("50", "100", "200")], a_list(1.0), HERE, UPRIGHT)

    assert forces.u_newton[0] == pytest.approx((3.0 + 5.0 + 10.0) * 1e-6 / np.sqrt(3.0) * 9.81 * 0.99985, rel=1e-9)


def test_forces_scatter_as_their_covariance_says() -> None:
    """JCGM 101: inputs drawn anew, forces reckoned from the formula written out here; 40 000 draws know u to 1 %."""
    masses = a_list(density_u_kg_per_m3=300.0)
    around = Surroundings(air_density_kg_per_m3=1.1, tilt_limit_deg=3.0)
    gravity = Gravity(9.81, 0.002, "measured")
    said = stack_forces([("50",), ("50", "200")], masses, gravity, around)

    random, draws = np.random.default_rng(5), 40_000
    g = random.normal(9.81, 0.002, draws)
    air = random.uniform(0.99, 1.21, draws)
    tilt = np.cos(np.radians(random.uniform(-3.0, 3.0, draws)))
    pushes = []
    for mass in (masses.masses[0], masses.masses[2]):
        kg = mass.mass_g * 1e-3 + random.normal(0.0, mass.u_mg * 1e-6, draws)
        rho = random.normal(8000.0, 300.0, draws)
        pushes.append(kg * g * 0.99985 / (1.0 - 1.2 / rho) * (1.0 - air / rho) * tilt)
    drawn = np.array([pushes[0], pushes[0] + pushes[1]])

    assert said.force_newton == pytest.approx(drawn.mean(axis=1), rel=1e-5)
    assert said.covariance_newton2 == pytest.approx(np.cov(drawn), rel=0.03)


def test_a_name_that_is_not_in_the_list_is_told() -> None:
    with pytest.raises(UnknownReference, match="no mass '70'; known are 50, 100, 200"):
        stack_forces([("70",)], a_list(), HERE)


def test_a_tilt_makes_forces_small_by_its_cosine() -> None:
    """Against averages of the cosine itself: sin(l)/l, and the variance from the mean of cos^2."""
    limit = np.radians(2.0)
    mean, u = upright_share(2.0)

    assert mean == pytest.approx(np.sin(limit) / limit, abs=1e-7)
    variance = 0.5 + np.sin(2.0 * limit) / (4.0 * limit) - (np.sin(limit) / limit) ** 2
    assert u == pytest.approx(np.sqrt(variance), rel=1e-3)


@pytest.mark.parametrize("latitude", ["0", "45", "90"])
def test_normal_gravity_has_its_published_values(latitude: str) -> None:
    """GRS80 (Moritz 2000), printed with 9 decimals."""
    assert normal_gravity_m_per_s2(float(latitude), 0.0) == pytest.approx(GRAVITY["check"][latitude], abs=6e-10)


def test_gravity_falls_with_height() -> None:
    """Free air: 0.3086 mGal per metre (Heiskanen & Moritz 1967), 3.086e-6 m/s2; at 45 degrees."""
    lower = normal_gravity_m_per_s2(45.0, 0.0) - normal_gravity_m_per_s2(45.0, 1.0)

    assert lower == pytest.approx(3.086e-6, rel=2e-4)


def test_the_second_order_in_height_is_that_of_an_inverse_square() -> None:
    """Without rotation and flattening g falls as (a / (a + h))^2, whose second-order term is 3 h^2 / a^2."""
    h, a = 5000.0, 6378137.0
    bend = (
        normal_gravity_m_per_s2(45.0, h) - 2.0 * normal_gravity_m_per_s2(45.0, h / 2) + normal_gravity_m_per_s2(45.0, 0)
    )

    assert bend == pytest.approx(normal_gravity_m_per_s2(45.0, 0.0) * 6.0 * (h / 2) ** 2 / a**2, rel=1e-4)


@given(latitude=st.floats(-90.0, 90.0), height=st.floats(0.0, 4000.0))
def test_both_hemispheres_are_alike_and_a_place_is_never_surer_than_its_anomaly(latitude: float, height: float) -> None:
    north, south = gravity_of_place(latitude, height), gravity_of_place(-latitude, height)

    assert north.m_per_s2 == pytest.approx(south.m_per_s2, rel=1e-14)
    assert 1e-4 * north.m_per_s2 <= north.u_m_per_s2 < 2e-4 * north.m_per_s2


def test_a_place_counts_with_its_slopes() -> None:
    """At 45 degrees about 0.0517 m/s2 per radian (equator to pole 0.05186, a sine of twice the latitude)."""
    place = gravity_of_place(45.0, 0.0, GravitySettings(anomaly_share=0.0, latitude_u_deg=1.0, height_u_m=0.0))

    assert place.u_m_per_s2 == pytest.approx(0.0518 * np.radians(1.0), rel=0.01)


def test_a_place_beyond_the_pole_is_refused() -> None:
    with pytest.raises(OutsideRange, match="no place on land"):
        gravity_of_place(91.0, 0.0)
