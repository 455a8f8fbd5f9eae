"""Gauge studies against published answers: AIAG's crossed study, ASTM E691, ISO 5725-2, the e-Handbook.

Where each comes from, and which are from memory, stands in `tests/truths/README.md`.
"""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
import pytest
from scipy.stats import t as student

from processing.gauge.bias_linearity import Against, bias_of, mean_bias
from processing.gauge.crossed import study_of
from processing.gauge.interlaboratory import cochran_critical, interlaboratory_of
from processing.gauge.nested import DayMean, Nested, nested_of
from processing.gauge.settings import GaugeSettings, StabilitySettings
from processing.gauge.stability import Day, baseline_of, stability_of
from processing.statistics.outliers import grubbs_critical
from tests.processing.gauge.truths import aiag, glucose, rows, told

PROBE = "2362."


def test_aiags_analysis_of_variance() -> None:
    published, study = told("aiag_grr_published.json")["anova"], study_of(aiag())
    found = {row.name if row.name != "repeats" else "repeat": row for row in study.anova}

    assert {
        name: found[name].sum_of_squares for name in ("part", "operator", "interaction", "repeat")
    } == pytest.approx(
        {name: published["SS"][name] for name in ("part", "operator", "interaction", "repeat")}, abs=6e-5
    )
    assert found["interaction"].p == pytest.approx(published["p_interaction"], abs=6e-5)
    assert (found["pooled"].dof, found["pooled"].mean_square) == (78, pytest.approx(0.03997, abs=6e-6))
    assert study.pooled


def test_aiags_standard_deviations_and_categories() -> None:
    published, study = told("aiag_grr_published.json"), study_of(aiag())
    names = {"EV": "repeatability", "AV": "reproducibility", "GRR": "gauge", "PV": "part"}

    for short, name in names.items():
        assert study[name].sd == pytest.approx(published["sigma_pooled_model"][short], abs=2e-6), short
        assert study.percent_of_total(name) == pytest.approx(published["pct_study_var"][short], abs=0.011), short
    assert study["total"].sd == pytest.approx(published["TV_exact"], abs=6e-5)
    assert study.categories[0] == pytest.approx(published["ndc_raw"], abs=6e-4)


def test_aiags_repeatability_if_the_interaction_is_kept() -> None:
    study = study_of(aiag(), GaugeSettings(pool_alpha=1.0))

    assert study["repeatability"].sd == pytest.approx(
        told("aiag_grr_published.json")["EV_if_interaction_kept"], abs=1e-6
    )


def test_glucose_in_serum_by_eight_laboratories() -> None:
    """The third material's 138.30 stands as 148.30 in machine copies; see the truths' README."""
    published, found = told("e691_glucose_published.json"), interlaboratory_of(glucose())

    assert [level.mean for level in found.levels] == pytest.approx(published["mean"], abs=1.6e-4)
    for name, ours, printed in (
        ("s_xbar", "s_mean", 6e-5),
        ("sr", "repeatability", 6e-5),
        ("sR", "reproducibility", 6e-5),
        ("r", "r", 5.1e-3),
        ("R", "R", 5.1e-3),
    ):
        assert [getattr(level, ours) for level in found.levels] == pytest.approx(published[name], abs=printed), name


def test_the_critical_h_and_k_of_e691() -> None:
    """For 8 laboratories and 3 results ASTM E691's table has h = 2.15, k = 2.06 (from memory)."""
    found = interlaboratory_of(glucose())

    assert found.h_critical == pytest.approx(2.15, abs=0.005)
    assert found.k_critical == pytest.approx(2.06, abs=0.005)


def test_the_critical_values_of_iso_5725_2() -> None:
    for row in rows("iso5725_2_critical_values.csv"):
        rigs, alpha, value = int(row["p"]), float(row["alpha"]), float(row["value"])
        if row["test"] == "cochran":
            found = cochran_critical(rigs, int(row["n"]), alpha)
        else:
            found = grubbs_critical(rigs, alpha, two_sided=True)
        assert found == pytest.approx(value, abs=1.01e-3), row


def handbook_days() -> list[Day]:
    return [
        Day(f"{row['month']}-{row['day']} {row['hour']}:{row['minute']}", float(row["value"]), float(row["sd6"]), 5)
        for row in rows("check_standard_mpc62.csv")
    ]


def test_the_handbooks_check_standard() -> None:
    """NIST/SEMATECH e-Handbook 2.6.2, all 25 days as baseline, limits at two standard deviations."""
    published = told("check_standard_mpc62_published.json")
    days, settings = handbook_days(), StabilitySettings(sigmas=2.0, baseline=25)
    base, judged = baseline_of(days, settings), stability_of([*days, days[0]], settings).days[-1]

    assert (base.s1, base.s1_dof) == (pytest.approx(published["s1"], abs=6e-6), published["df1"])
    assert base.s2 == pytest.approx(published["s2"], abs=6e-5)
    assert base.centre == pytest.approx(published["center"], abs=6e-6)
    assert (base.lower, base.upper) == pytest.approx((published["LCL_2s"], published["UCL_2s"]), abs=6e-6)
    assert judged.upper_sd == pytest.approx(published["UCL_sd"], abs=6e-6)
    assert judged.ruled == "in control"


def handbook_gauge() -> Nested:
    return nested_of(
        [
            DayMean(row["wafer"], row["run"], f"{place}", float(row["avg"]), float(row["sd6"]), 6)
            for place, row in enumerate(rows("gauge_study_mpc61.csv"))
            if row["probe"] == PROBE
        ]
    )


def test_the_handbooks_gauge_study_level_by_level() -> None:
    """e-Handbook 2.6.1; it prints the share of days from rounded inputs, hence 2e-6."""
    published, found = told("gauge_study_mpc61_published.json"), handbook_gauge()

    assert (found.s1, found.s1_dof) == (pytest.approx(published["s1"], abs=6e-6), published["df1"])
    assert (found.s2, found.s2_dof) == (pytest.approx(published["s2"], abs=6e-6), published["df2"])
    assert (found.s3, found.s3_dof) == (pytest.approx(published["s3"], abs=6e-5), published["df3"])
    assert found.of_days == pytest.approx(published["s_days"], abs=2e-6)
    assert found.of_runs == pytest.approx(published["s_runs"], abs=1e-6)


def test_the_handbooks_uncertainty_of_its_gauge() -> None:
    """To what the levels tell comes the bias of the probe, the standard deviation of a mean of ten."""
    published, found = told("gauge_study_mpc61_published.json"), handbook_gauge()
    by_cell: dict[tuple[str, str], dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in rows("gauge_study_mpc61.csv"):
        by_cell[row["run"], row["wafer"]][row["probe"]].append(float(row["avg"]))
    away = [
        round(float(np.mean(one[PROBE]) - np.mean(np.concatenate(list(one.values())))), 4) for one in by_cell.values()
    ]
    bias = mean_bias(away)
    u = math.hypot(found.u, bias.u)
    dof = u**4 / (found.u**4 / found.u_dof + bias.u**4 / bias.dof)

    assert bias.value == pytest.approx(published["probe_bias_overall"], abs=6e-5)
    assert bias.u * math.sqrt(10) == pytest.approx(published["probe_bias_sd"], abs=6e-5)
    assert u == pytest.approx(published["u"], abs=1e-6)
    assert round(dof) == published["nu_eff"]
    assert float(student.ppf(0.975, round(dof))) * u == pytest.approx(published["U95"], abs=6e-5)


def test_the_handbooks_bias_of_two_configurations() -> None:
    """e-Handbook 2.6.1.4."""
    published, table = told("config_bias_check_std_published.json"), rows("config_bias_check_std.csv")
    for run in ("1", "2"):
        found = mean_bias([float(row["A" + run]) - float(row["B" + run]) for row in table])
        place = int(run) - 1

        assert found.value == pytest.approx(published["avg"][place], abs=6e-5)
        assert found.u * math.sqrt(len(table)) == pytest.approx(published["sd"][place], abs=6e-5)
        assert found.t == pytest.approx(published["t"][place], abs=6e-3)


def test_the_handbooks_bias_of_two_instruments() -> None:
    """e-Handbook 2.4.5.5; its t is printed with sqrt(n - 1), ours has the usual sqrt(n)."""
    published, table = told("instrument_bias_mpc536_published.json"), rows("instrument_bias_mpc536.csv")
    for place, column in enumerate(("d1", "d2")):
        found = mean_bias([float(row[column]) for row in table])

        assert found.value == pytest.approx(published["avg"][place], abs=6e-7)
        assert found.t * math.sqrt(1.0 - 1.0 / len(table)) == pytest.approx(published["t"][place], abs=6e-6)
        assert found.p < 0.05


def test_the_handbooks_line_of_linewidths_is_a_line_of_bias() -> None:
    """e-Handbook 2.3.6.7.3 fits the readings themselves: their slope is that of the bias and 1."""
    published = told("linewidth_calibration_published.json")
    study = bias_of([Against(float(r["x_um"]), float(r["y_um_1"])) for r in rows("linewidth_calibration.csv")])

    assert [study.offset.value, 1.0 + study.slope.value] == pytest.approx(published["coef"], abs=6e-8)
    assert [study.offset.u, study.slope.u] == pytest.approx(published["se"], rel=1e-6)
    assert study.offset.t == pytest.approx(published["t"][0], rel=1e-6)
    assert np.array(study.covariance) == pytest.approx(np.array(published["cov"]), rel=1e-6)
