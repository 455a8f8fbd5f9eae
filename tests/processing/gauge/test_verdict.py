"""The verdict on a rig, and how it is put."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.display import Units
from processing.gauge.bias_linearity import Against, bias_of
from processing.gauge.crossed import study_of
from processing.gauge.interlaboratory import interlaboratory_of
from processing.gauge.readings import Reading, crossed_of
from processing.gauge.stability import Day, day_of, stability_of
from processing.gauge.verdict import (
    GaugeVerdict,
    Tolerance,
    among_all,
    judge_bias,
    judge_study,
    not_judged,
    operator_p,
    what_would_tell,
    worst_of,
)
from processing.gauge.words import bias_sentences, rig_sentences, stability_sentences, study_sentences
from tests.processing.gauge.truths import aiag

GF = Units()


def a_study(*, repeats: float = 0.01, operator: float = 0.0, shape: tuple[int, int, int] = (10, 4, 3)):  # type: ignore[no-untyped-def]
    """Ten keys from 0.5 N up in steps of 0.01 N; operators one step `operator` apart."""
    chance = np.random.default_rng(5)
    return study_of(
        crossed_of(
            Reading(f"C{p}", f"{o}", f"{t}", 0.5 + 0.01 * p + operator * o + repeats * chance.standard_normal())
            for p in range(shape[0])
            for o in range(shape[1])
            for t in range(shape[2])
        )
    )


@pytest.mark.parametrize(
    ("width", "fitness"),
    [
        pytest.param(1.0, "fit", id="6 sd are 6 %"),
        pytest.param(0.35, "fit with caution", id="17 %"),
        pytest.param(0.1, "unfit", id="60 %"),
        pytest.param(0.2, "cannot tell", id="about 30 %"),
    ],
)
def test_the_whole_interval_bears_the_verdict_out(width: float, fitness: str) -> None:
    verdict = judge_study("down_weight", "N", a_study(), Tolerance(width))

    assert verdict.fitness == fitness
    assert verdict.percent is not None
    assert verdict.percent[0] == pytest.approx(100.0 * 6.0 * a_study()["gauge"].sd / width)


def test_against_one_limit_three_standard_deviations_count() -> None:
    two = judge_study("down_weight", "N", a_study(), Tolerance(0.4, sides=2))
    one = judge_study("down_weight", "N", a_study(), Tolerance(0.2, sides=1))

    assert one.percent == pytest.approx(two.percent)
    assert "from the mean to the limit" in study_sentences(one, GF)[0]


def test_without_a_tolerance_the_keys_own_spread_stands_for_it() -> None:
    verdict = judge_study("value", "1", study_of(aiag()), None)

    assert verdict.percent is not None
    assert verdict.percent[0] == pytest.approx(27.86, abs=0.01)  # AIAG's %GRR
    assert (verdict.by_estimate, verdict.fitness) == ("fit with caution", "cannot tell")  # three operators are few
    assert "since no tolerance was given" in study_sentences(verdict, GF)[0]


def test_where_it_cannot_be_told_it_is_said_of_what_there_was_too_little() -> None:
    assert what_would_tell(study_of(aiag())) == "operators"
    assert "more operators" in study_sentences(judge_study("value", "1", study_of(aiag()), None), GF)[1]
    assert what_would_tell(a_study(shape=(10, 10, 2))) == "trials"


def test_an_operator_who_reads_more_is_named_in_the_readers_unit() -> None:
    sentences = study_sentences(judge_study("down_weight", "N", a_study(operator=0.0098), Tolerance(1.0)), GF)

    assert any(sentence.startswith("Operators surely differ") and "gf" in sentence for sentence in sentences)


def a_doubtful_study() -> GaugeVerdict:
    """Operators differ with p between 1 and 5 %."""
    return judge_study("down_weight", "N", a_study(operator=0.002), Tolerance(1.0))


def test_among_several_measurands_operators_surely_differ_only_by_holm() -> None:
    alone = a_doubtful_study()
    others = [replace(judge_study("x", "N", a_study(), Tolerance(1.0)), measurand=f"{n}") for n in range(4)]
    among, *_ = among_all([alone, *others, not_judged("y", "N", "nothing was pressed")])
    p = operator_p(alone.study)  # type: ignore[arg-type]

    assert p is not None
    assert 0.01 < p < 0.05
    assert among.operators_p == (pytest.approx(5 * p), 5)
    assert any("Operators surely differ" in sentence for sentence in study_sentences(alone, GF))
    assert any(
        sentence.startswith("Operators may differ (p") and "among 5 measurands by Holm" in sentence
        for sentence in study_sentences(among, GF)
    )


def test_the_worst_measurand_decides() -> None:
    fit = judge_study("down_weight", "N", a_study(), Tolerance(1.0))
    unfit = judge_study("down_weight", "N", a_study(), Tolerance(0.1))
    unknown = not_judged("key_dip", "mm", "nothing was pressed")

    assert worst_of([fit, unknown]) == "cannot tell"
    assert worst_of([unknown, unfit, fit]) == "unfit"
    assert worst_of([]) == "cannot tell"
    assert study_sentences(unknown, GF) == ("Cannot tell: nothing was pressed.",)


REFERENCES = (0.2, 0.5, 1.0, 2.0)


def readings_of(*, offset: float = 0.0, slope: float = 0.0, scatter: float = 0.001, u: float = 0.0) -> list[Against]:
    chance = np.random.default_rng(2)
    return [
        Against(x, x + offset + slope * x + scatter * chance.standard_normal(), u) for x in REFERENCES for _ in range(5)
    ]


def test_a_bias_and_its_slope_are_found() -> None:
    study = bias_of(readings_of(offset=0.02, slope=0.01))

    assert study.offset.value == pytest.approx(0.02, abs=4.0 * study.offset.u)
    assert study.slope.value == pytest.approx(0.01, abs=4.0 * study.slope.u)
    assert study.slope.p < 1e-6
    assert [sentence.split(":")[0] for sentence in bias_sentences(study, "N", GF)[1:3]] == ["Bias", "Linearity"]


def test_what_a_bias_is_held_against_and_what_stands_behind_its_sign_is_said() -> None:
    study = bias_of(readings_of(offset=0.02))
    held, free = (bias_sentences(study, "N", GF, allowed) for allowed in (0.5 * 0.00980665, None))

    assert held[0].startswith("Allowed is a bias of 0.5 gf; by the line it is 2.0")
    assert free[0].startswith("No allowed bias was given")
    assert "95 % interval" in held[-1]


def test_what_a_reference_does_not_know_of_itself_does_not_average_out() -> None:
    exact, unsure = bias_of(readings_of()), bias_of(readings_of(u=0.01))

    assert exact.mean.u < 0.0005
    assert unsure.mean.u == pytest.approx(0.01 / np.sqrt(len(REFERENCES)), rel=0.01)


@pytest.mark.parametrize(
    ("offset", "allowed", "fitness"),
    [
        (0.0, None, "fit"),
        (0.02, None, "unfit"),
        (0.02, 0.03, "fit"),
        (0.02, 0.01, "unfit"),
        (0.02, 0.0201, "cannot tell"),
    ],
)
def test_a_bias_is_held_against_what_is_allowed(offset: float, allowed: float | None, fitness: str) -> None:
    assert judge_bias(bias_of(readings_of(offset=offset)), allowed) == fitness


def days_of(last: float, *, last_scatter: float = 0.001) -> list[Day]:
    """Twenty days that scatter by 0.001 within, by half of that between; then one more, its readings evenly about."""
    chance = np.random.default_rng(4)
    days = [day_of(f"day {n}", list(0.5 + 0.001 * chance.standard_normal(4))) for n in range(20)]
    return [*days, day_of("last", [last - last_scatter, last - last_scatter, last + last_scatter, last + last_scatter])]


@pytest.mark.parametrize(
    ("last", "last_scatter", "ruled"),
    [(0.5, 0.0005, "in control"), (0.51, 0.001, "mean out"), (0.5, 0.004, "spread out"), (0.6, 0.02, "both out")],
)
def test_the_last_day_is_held_against_the_baseline(last: float, last_scatter: float, ruled: str) -> None:
    found = stability_of(days_of(last, last_scatter=last_scatter))

    assert found.days[-1].ruled == ruled
    assert found.baseline.days == 20
    assert stability_sentences(found, "N", GF)[0].endswith(f"{ruled}.")


def test_a_day_long_past_its_baseline_does_not_move_the_limits() -> None:
    days = days_of(0.5)
    before, after = stability_of(days), stability_of([*days, day_of("late", [0.6, 0.6])])

    assert after.baseline == before.baseline
    assert after.days[-1].ruled == "mean out"


def test_single_readings_a_day_are_watched_by_their_means_alone() -> None:
    found = stability_of([day_of(f"{n}", [0.5 + 0.001 * (n % 3)]) for n in range(12)])

    assert (found.baseline.s1, found.days[-1].upper_sd, found.days[-1].ruled) == (None, None, "in control")
    assert found.baseline.days == 11  # the last one is always judged
    assert "still grows" in " ".join(stability_sentences(found, "N", GF))


def test_of_two_rigs_it_cannot_be_told_which_is_off() -> None:
    readings = [
        Reading("C4", rig, f"{t}", 0.5 + 0.001 * t + (0.1 if rig == "b" else 0.0)) for rig in "ab" for t in range(3)
    ]
    found = interlaboratory_of(crossed_of(readings, least_parts=1))

    assert found.inconsistent() == ()
    assert "cannot be told which" in rig_sentences(found, "N", GF)[-1]


def test_a_rig_that_lies_off_or_scatters_is_named_by_the_tests_of_iso_5725() -> None:
    random = np.random.default_rng(8)
    noise = 0.001 * random.standard_normal((6, 3))
    noise[4] *= 12.0  # "e" scatters
    off = {"b": 0.05}
    readings = [
        Reading("C4", rig, f"{t}", 0.5 + off.get(rig, 0.0) + noise[place, t])
        for place, rig in enumerate("abcdef")
        for t in range(3)
    ]
    found = interlaboratory_of(crossed_of(readings, least_parts=1))
    named = {(rig, test) for _, rig, test, _, _ in found.outliers()}

    assert named == {("e", "Cochran"), ("b", "Grubbs")}
    assert "by Cochran's test e is an outlier in its scatter" in " ".join(rig_sentences(found, "N", GF))


def test_rigs_that_agree_have_no_outlier() -> None:
    readings = [
        Reading("C4", rig, f"{t}", 0.5 + 0.001 * ((3 * place + 5 * t) % 4))
        for place, rig in enumerate("abcdef")
        for t in range(3)
    ]

    assert interlaboratory_of(crossed_of(readings, least_parts=1)).outliers() == ()
