"""What a rule does to a whole run."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import gamma, multivariate_normal, norm

from processing.limits.risks import GlobalRisks, global_risks, risks_of_process
from tests.processing.limits.truths import told

JCGM_106 = told("jcgm106_published.json")
FALSE_ACCEPTANCE = JCGM_106["RP19_PFA_TUR4"]


def risks(mean: float = 0.0, sd: float = 0.6, u: float = 0.2, limit: float = 1.0, accept: float = 1.0) -> GlobalRisks:
    return global_risks(mean, sd, u, lower=-limit, upper=limit, accept_lower=-accept, accept_upper=accept)


def ball_bearings(accept_upper: float) -> GlobalRisks:
    """JCGM 106, 9.5.4: runout of bearings, a gamma process with one limit."""
    example = JCGM_106["9.5.4_ball_bearings"]
    process = gamma(4, scale=1 / 4)
    return risks_of_process(
        process, example["u_m"], lower=None, upper=example["T_U"], accept_lower=None, accept_upper=accept_upper
    )


def test_published_ball_bearings_accepted_without_a_guard_band() -> None:
    example = JCGM_106["9.5.4_ball_bearings"]

    found = ball_bearings(example["T_U"])

    assert 1.0 - found.conforming == pytest.approx(0.042380112, abs=5e-9)  # eight digits read in the suncal notebook
    assert found.consumer == pytest.approx(0.008019112, abs=2e-7)  # by quadrature there too


def test_published_guard_band_of_ball_bearings_brings_the_consumers_risk_to_one_in_a_thousand() -> None:
    example = JCGM_106["9.5.4_ball_bearings"]

    accept = brentq(lambda upper: ball_bearings(upper).consumer - example["target_RC"], 1.0, 2.0)

    assert accept == pytest.approx(1.671828772, abs=1e-4)  # as read in the suncal notebook; 1.67 in print


def test_published_resistors_have_both_published_risks() -> None:
    """JCGM 106, 9.5: two digits of the process, one of the risks are printed."""
    example = JCGM_106["9.5_resistors"]

    found = global_risks(
        1500.0,
        example["u0"],
        example["um"],
        lower=example["T"][0],
        upper=example["T"][1],
        accept_lower=example["A"][0],
        accept_upper=example["A"][1],
    )

    assert (found.conforming, found.consumer, found.producer) == pytest.approx(
        (example["p_conform"], example["RC"], example["RP"]), abs=0.0055
    )


@pytest.mark.parametrize(
    ("share", "false_percent", "among_accepted_percent"),
    list(zip(*(FALSE_ACCEPTANCE[name] for name in ("itp", "PFA_percent", "CPFA_percent")), strict=True)),
)
def test_false_acceptance_at_a_ratio_of_four_is_the_tabulated_one(
    share: float, false_percent: float, among_accepted_percent: float
) -> None:
    """Tables of NCSLI RP-19 (draft), as read in the suncal package; limits of 1, u a quarter of the process's sd."""
    sd = 1.0 / float(norm.ppf((1.0 + share) / 2.0))

    found = risks(sd=sd, u=sd / 4.0)

    assert 100.0 * found.consumer == pytest.approx(
        false_percent, rel=2e-6
    )  # six digits: 0.8710093 where it is 0.8710102
    assert 100.0 * found.wrong_among_accepted == pytest.approx(among_accepted_percent, rel=2e-6)


@pytest.mark.parametrize("u", [0.0005, 0.02, 0.3, 2.0])
def test_risks_are_the_rectangles_of_a_normal_pair(u: float) -> None:
    """Truth and reading are two normal numbers with covariance sd**2: scipy integrates their rectangles otherwise."""
    sd, mean, upper, accept = 0.6, 0.4, 1.0, 0.9
    pair = multivariate_normal([mean, mean], [[sd**2, sd**2], [sd**2, sd**2 + u**2]])

    found = global_risks(mean, sd, u, lower=None, upper=upper, accept_lower=None, accept_upper=accept)

    both = pair.cdf([upper, accept])
    assert found.consumer == pytest.approx(norm(mean, (sd**2 + u**2) ** 0.5).cdf(accept) - both, abs=1e-8)
    assert found.producer == pytest.approx(norm(mean, sd).cdf(upper) - both, abs=1e-8)


@settings(deadline=None, max_examples=40)
@given(mean=st.floats(-1, 1), sd=st.floats(0.05, 2), u=st.floats(0.01, 1), accept=st.floats(0.5, 1.5))
def test_a_tighter_acceptance_never_raises_the_consumers_risk_nor_lowers_the_producers(
    mean: float, sd: float, u: float, accept: float
) -> None:
    tight, wide = (risks(mean, sd, u, accept=limit) for limit in (accept - 0.1, accept))

    assert tight.consumer <= wide.consumer + 1e-11
    assert tight.producer >= wide.producer - 1e-11


def test_all_that_is_accepted_is_what_the_readings_do() -> None:
    found = risks(mean=0.2)

    readings = norm(0.2, (0.6**2 + 0.2**2) ** 0.5)
    assert found.accepted == pytest.approx(readings.cdf(1.0) - readings.cdf(-1.0), abs=1e-10)


def test_a_measurement_without_uncertainty_has_no_risks_to_ask_for() -> None:
    with pytest.raises(ValueError, match="give more than 0"):
        risks(u=0.0)
