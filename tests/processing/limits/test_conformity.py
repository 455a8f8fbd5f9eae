"""One value against its limits."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm, t

from processing.limits.conformity import (
    Decided,
    Outcome,
    Rule,
    acceptance_limits,
    conforming_probability,
    decide,
    guard_band,
)
from tests.processing.limits.truths import told

JCGM_106 = told("jcgm106_published.json")
NORMAL = 1e9
RULES: tuple[Rule, ...] = ("guarded acceptance", "simple acceptance", "guarded rejection")

values = st.floats(-3, 3)
uncertainties = st.floats(0.01, 3)
dofs = st.sampled_from([1.0, 2.5, 8.0, 60.0, NORMAL])
risks = st.sampled_from([0.001, 0.025, 0.05, 0.2, 0.5])
limits = st.sampled_from([(-1.0, 1.0), (None, 1.0), (-1.0, None), (-0.1, 0.1)])
Limits = tuple[float | None, float | None]


def decided(
    value: float = 0.0,
    u: float = 0.1,
    dof: float = NORMAL,
    lower: float | None = -1.0,
    upper: float | None = 1.0,
    rule: Rule = "guarded acceptance",
    risk: float = 0.05,
) -> Decided:
    return decide(value, u, dof, lower=lower, upper=upper, rule=rule, risk=risk)


@pytest.mark.parametrize(
    ("name", "value", "lower", "upper"),
    [
        pytest.param("7.3.3_ex1_zener", "y", None, "T_U", id="JCGM 106, 7.3.3, example 1: breakdown of a diode"),
        pytest.param("7.3.3_ex2_burst", "y", "T_L", None, id="JCGM 106, 7.3.3, example 2: bursting strength"),
    ],
)
def test_conformance_probability_with_one_limit_is_the_published_one(
    name: str, value: str, lower: str | None, upper: str | None
) -> None:
    given_there = JCGM_106[name]

    told = conforming_probability(
        given_there[value],
        given_there["u"],
        NORMAL,
        lower=given_there[lower] if lower else None,
        upper=given_there[upper] if upper else None,
    )

    assert told == pytest.approx(given_there["pc"], abs=0.005)  # two digits are printed


def test_conformance_probability_with_two_limits_is_the_published_one() -> None:
    oil = JCGM_106["7.4_oil_viscosity"]

    told = conforming_probability(oil["y"], oil["u"], NORMAL, lower=oil["T"][0], upper=oil["T"][1])

    assert told == pytest.approx(oil["pc"], abs=0.005)


@pytest.mark.parametrize(
    ("probability", "z"), [(p, z) for p, z in JCGM_106["table1_one_sided_z"].items() if p[0] == "0"]
)
def test_a_guard_band_is_the_published_quantile_times_u(probability: str, z: float) -> None:
    """JCGM 106, table 1."""
    told = guard_band(0.2, NORMAL, lower=None, upper=1.0, rule="guarded acceptance", risk=1.0 - float(probability))

    assert told / 0.2 == pytest.approx(z, abs=0.0051)  # 1.645 is printed as 1.64


def test_the_published_speed_limit_proves_speeding() -> None:
    """JCGM 106, 8.3.3: u is 2 % of the speed, conformity to 100 km/h must have at most one chance in a thousand."""
    speeding = JCGM_106["8.3.3_speeding"]

    def outcome_at(speed: float) -> Outcome:
        u = speeding["u_rel"] * speed
        return decided(speed, u, lower=None, upper=speeding["v0"], rule="guarded rejection", risk=0.001).outcome

    assert (outcome_at(speeding["v_limit"] - 1.0), outcome_at(speeding["v_limit"])) == ("pass", "fail")


@pytest.mark.parametrize("rule", ["guarded acceptance", "guarded rejection"])
@pytest.mark.parametrize("u", [0.05, 0.3, 0.5])
@pytest.mark.parametrize("dof", [3.0, NORMAL])
def test_at_the_guarded_limit_the_probability_of_erring_is_the_stated_risk(rule: Rule, u: float, dof: float) -> None:
    told = acceptance_limits(u, dof, lower=-1.0, upper=1.0, rule=rule, risk=0.05)

    if told is None:
        assert decided(0.0, u, dof).conforming < 0.95
    else:
        conforming = decided(told[1], u, dof).conforming
        assert conforming == pytest.approx(0.95 if rule == "guarded acceptance" else 0.05, abs=1e-9)


@given(value=values, u=uncertainties, dof=dofs, limits=limits)
def test_conforming_is_the_probability_of_t_between_the_limits(
    value: float, u: float, dof: float, limits: Limits
) -> None:
    lower, upper = (
        math.copysign(math.inf, sign) if one is None else one for one, sign in zip(limits, (-1, 1), strict=True)
    )
    known = norm(value, u) if dof == NORMAL else t(dof, value, u)

    told = conforming_probability(value, u, dof, lower=limits[0], upper=limits[1])

    assert told == pytest.approx(known.cdf(upper) - known.cdf(lower), abs=1e-10)


@given(value=values, share=st.floats(0, 1), u=st.one_of(st.just(0.0), uncertainties), dof=dofs)
def test_a_value_nearer_to_the_middle_never_conforms_less(value: float, share: float, u: float, dof: float) -> None:
    assert decided(share * value, u, dof).conforming >= decided(value, u, dof).conforming - 1e-12


@given(value=values, u=uncertainties, dof=dofs, limits=limits, risk=risks)
def test_what_a_stricter_rule_passes_a_laxer_one_passes(
    value: float, u: float, dof: float, limits: Limits, risk: float
) -> None:
    passes = [decided(value, u, dof, *limits, rule, risk).outcome == "pass" for rule in RULES]

    assert passes == sorted(passes)


@given(value=values, u=uncertainties, dof=dofs, limits=limits, risk=risks)
def test_a_value_that_one_guarded_rule_fails_the_other_fails(
    value: float, u: float, dof: float, limits: Limits, risk: float
) -> None:
    outcomes = [decided(value, u, dof, *limits, rule, risk).outcome for rule in RULES]

    assert (outcomes[0] == "fail") == (outcomes[2] == "fail")
    assert outcomes[1] == "fail" or outcomes[0] != "fail"


@given(value=values, u=uncertainties, dof=dofs, limits=limits, rule=st.sampled_from(RULES), risk=risks)
def test_the_mirror_image_is_decided_alike(
    value: float, u: float, dof: float, limits: Limits, rule: Rule, risk: float
) -> None:
    lower, upper = (None if one is None else -one for one in reversed(limits))

    mirrored = decided(-value, u, dof, lower, upper, rule, risk)

    told = decided(value, u, dof, *limits, rule, risk)
    assert told.outcome == mirrored.outcome
    assert (told.conforming, told.wrong, told.guard) == pytest.approx(
        (mirrored.conforming, mirrored.wrong, mirrored.guard), abs=1e-12
    )


@given(value=values, u=uncertainties, dof=dofs, limits=limits, rule=st.sampled_from(RULES), risk=risks)
def test_passes_are_the_values_within_the_acceptance_limits(
    value: float, u: float, dof: float, limits: Limits, rule: Rule, risk: float
) -> None:
    zone = acceptance_limits(u, dof, lower=limits[0], upper=limits[1], rule=rule, risk=risk)
    assume(zone is None or min(abs(value - zone[0]), abs(value - zone[1])) > 1e-9)

    inside = zone is not None and zone[0] <= value <= zone[1]

    assert (decided(value, u, dof, *limits, rule, risk).outcome == "pass") == inside


@given(value=values, u=uncertainties, dof=dofs, limits=limits, risk=risks)
def test_a_guarded_rule_is_wrong_no_oftener_than_stated_where_it_is_sure(
    value: float, u: float, dof: float, limits: Limits, risk: float
) -> None:
    told = decided(value, u, dof, *limits, "guarded acceptance", risk)

    assert told.outcome == "cannot tell" or told.wrong <= risk + 1e-12


def test_without_uncertainty_every_rule_says_what_the_value_says() -> None:
    told = {
        (decided(value, 0.0, rule=rule).outcome, decided(value, 0.0, rule=rule).wrong)
        for rule in RULES
        for value in (-1.0, 0.3, 1.0)
    }

    assert told == {("pass", 0.0)}
    assert {decided(1.0001, 0.0, rule=rule).outcome for rule in RULES} == {"fail"}


def test_a_rig_as_coarse_as_the_tolerance_neither_passes_nor_fails_a_value_in_the_middle() -> None:
    told = decided(0.0, 30.0)

    assert (told.outcome, told.guard) == ("cannot tell", 1.0)


def test_few_degrees_of_freedom_widen_the_guard_band_as_t_does() -> None:
    told = guard_band(0.2, 4.0, lower=None, upper=1.0, rule="guarded acceptance", risk=0.05)

    assert told / 0.2 == pytest.approx(2.132, abs=0.0005)  # t table: 95 %, one-sided, 4 degrees of freedom


@pytest.mark.parametrize(
    "wrong",
    [
        {"value": math.nan},
        {"u": -0.1},
        {"u": math.inf},
        {"dof": 0.0},
        {"dof": math.nan},
        {"risk": 0.0},
        {"risk": 0.6},
        {"lower": None, "upper": None},
        {"lower": 2.0},
    ],
)
def test_what_cannot_be_judged_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"give|exchange"):
        decided(**wrong)  # type: ignore[arg-type]


def test_small_probabilities_keep_their_digits_on_both_sides() -> None:
    below, above = (decided(value, 0.1).conforming for value in (-3.0, 3.0))

    assert below == pytest.approx(above, rel=1e-12)
    assert below == pytest.approx(float(norm.sf(20.0)), rel=1e-6)
