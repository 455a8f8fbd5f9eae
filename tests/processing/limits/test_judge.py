"""A unit against its limits: what passes, what fails, and above all what is never passed silently."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, norm

from processing.calibration_status import with_calibration_flags
from processing.display import Units
from processing.keyboard import OddKey, OddReason
from processing.limits.conformity import Rule
from processing.limits.judge import judge, judge_key
from processing.limits.of_the_unit import decide_spread
from processing.limits.types import Expected, How, LetoffLimit, SpreadLimit, StepLimit
from processing.limits.verdict import (
    WORST_FIRST,
    Decision,
    UnitVerdict,
    bound_of_wrong,
    key_verdict,
    outcome_of,
    unit_verdict,
)
from processing.settings import Settings
from processing.statistics.scatter import Scatter
from recordings.keys import Key
from tests.builders import WHOLE_RECORD, a_header
from tests.processing.limits.units import (
    a_finding,
    a_key,
    a_limit,
    a_unit,
    calibrated_header,
    some_limits,
)

UNITS = Units("N", "mm")
RULES: tuple[Rule, ...] = ("simple acceptance", "guarded acceptance", "guarded rejection")


def codes(verdict: UnitVerdict) -> list[str]:
    return [one.code for one in verdict.reasons()]


def test_a_unit_within_its_limits_passes() -> None:
    verdict = judge(a_unit(), some_limits())

    assert verdict.outcome == "pass"
    assert verdict.reasons() == ()
    assert verdict.keys[0].decisions[0].in_words(UNITS) == "Down weight 0.500 N is within 0.450 N and 0.550 N"


def test_a_value_surely_outside_fails_key_and_unit() -> None:
    verdict = judge(a_unit(a_key(40), a_key(42, down_weight=0.6)), some_limits(keys=(40, 42)))

    assert (verdict.outcome, codes(verdict)) == ("fail", ["down_weight"])
    assert [key.key.number for key in verdict.keys] == [42, 40]
    assert verdict.reasons()[0].in_words(UNITS) == "Down weight 0.600 N is above 0.550 N"
    assert verdict.wrong is not None
    assert verdict.wrong < 1e-9


def test_a_value_too_near_to_its_limit_cannot_be_told() -> None:
    verdict = judge(a_unit(a_key(down_weight=0.549)), some_limits())

    assert verdict.outcome == "cannot tell"
    assert "too near to 0.550 N to tell" in verdict.reasons()[0].in_words(UNITS)


def test_guarded_rejection_passes_what_is_not_proved_to_be_outside() -> None:
    limit = replace(a_limit(), how=How(rule="guarded rejection", risk=0.05))
    verdict = judge(a_unit(a_key(down_weight=0.551)), some_limits(limit))

    assert verdict.outcome == "pass"
    assert "is not proved to be above 0.550 N" in verdict.keys[0].decisions[0].in_words(UNITS)
    # z = 0.001 / 0.002 of a t with 50 degrees of freedom, upper limit alone: wrong with 69 %
    assert verdict.wrong == pytest.approx(norm.cdf(0.5), abs=0.005)


def test_one_failing_decision_fails_the_unit_and_one_doubt_keeps_it_from_passing() -> None:
    doubtful, bad = a_key(41, down_weight=0.549), a_key(42, down_weight=0.6)

    assert judge(a_unit(a_key(40), doubtful), some_limits(keys=(40, 41))).outcome == "cannot tell"
    assert judge(a_unit(a_key(40), doubtful, bad), some_limits(keys=(40, 41, 42))).outcome == "fail"


@given(st.floats(0.4, 0.6), st.floats(0.0, 0.1), st.sampled_from(RULES))
def test_wider_limits_never_make_a_verdict_worse(value: float, wider: float, rule: Rule) -> None:
    how = How(rule=rule, risk=0.05)
    narrow = replace(a_limit(), how=how)
    wide = replace(a_limit(lower=0.45 - wider, upper=0.55 + wider), how=how)
    before, after = (judge_key(a_key(down_weight=value), some_limits(limit)).outcome for limit in (narrow, wide))

    assert WORST_FIRST.index(after) >= WORST_FIRST.index(before)


# --- never passed silently


def test_a_key_that_was_not_recorded_is_not_passed() -> None:
    verdict = judge(a_unit(a_key(40)), some_limits(keys=(40, 41)))

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", ["missing key"])
    assert verdict.wrong is None


def test_a_number_that_is_missing_under_a_limit_is_not_passed() -> None:
    verdict = judge(a_unit(), some_limits(a_limit("friction")))

    assert verdict.outcome == "cannot tell"
    assert verdict.reasons()[0].in_words(UNITS) == "Friction is missing: nobody measured it"


@pytest.mark.parametrize("flag", ["gritty", "preloaded", "single_stroke", "outside_calibrated_range", "a new flag"])
@pytest.mark.parametrize("value", [0.5, 0.7])
def test_a_doubtful_number_is_neither_passed_nor_failed(flag: str, value: float) -> None:
    unit, limits = a_unit(a_key(flags=(flag,), down_weight=value)), some_limits()
    trusting = replace(limits, expected=replace(limits.expected, allowed_flags=frozenset({flag})))

    assert judge(unit, limits).outcome == "cannot tell"
    assert judge(unit, trusting).outcome == ("pass" if value == 0.5 else "fail")


def test_of_a_number_that_is_known_to_be_at_least_so_much_only_a_lower_limit_can_be_kept() -> None:
    fast = a_key(flags=("lower_bound",), repetition_limit=12.0)
    at_least = a_limit("repetition_limit", lower=8.0, upper=None)
    more, between = (
        a_limit("repetition_limit", lower=14.0, upper=None),
        a_limit("repetition_limit", lower=8.0, upper=20),
    )

    def outcome(limit: object) -> str:
        found = judge_key(replace(fast, measurements=fast.measurements), some_limits(limit))  # type: ignore[arg-type]
        return found.decisions[0].outcome

    assert [outcome(limit) for limit in (at_least, more, between)] == ["pass", "cannot tell", "cannot tell"]


def test_few_strokes_are_not_enough_to_pass() -> None:
    verdict = judge(a_unit(a_key(strokes=1)), some_limits())

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", ["few strokes"])


def test_a_recording_that_is_not_whole_is_not_passed() -> None:
    verdict = judge(replace(a_unit(), complete=False), some_limits())

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", ["incomplete"])


EXPIRED = replace(WHOLE_RECORD, valid_until=datetime(2026, 2, 1, tzinfo=UTC))
FOREIGN = replace(WHOLE_RECORD, rig=replace(WHOLE_RECORD.rig, serial_number="2"))


@pytest.mark.parametrize(
    ("record", "flag"),
    [(None, "uncalibrated"), (EXPIRED, "calibration_expired"), (FOREIGN, "calibration_foreign")],
    ids=["missing", "expired", "foreign"],
)
def test_a_unit_whose_calibration_is_not_in_order_is_not_passed(record: object, flag: str) -> None:
    plain = calibrated_header()
    header = replace(plain, calibration=replace(plain.calibration, record=record))
    unit, limits = a_unit(with_calibration_flags(a_key(), header), header=header), some_limits()
    verdict = judge(unit, limits)
    trusting = replace(limits, expected=replace(limits.expected, allowed_flags=frozenset({flag})))

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", [flag, "down_weight"])
    assert judge(unit, trusting).outcome == "pass"


def test_without_calibration_nothing_passes_even_if_no_number_is_asked_for() -> None:
    unit = a_unit(header=a_header("moss"))
    letoff_alone = replace(some_limits(), values=(), letoff=LetoffLimit("found", frozenset({Key(40)})))

    assert judge(unit, letoff_alone).outcome == "cannot tell"


def test_a_unit_measured_otherwise_than_the_limits_expect_is_not_passed() -> None:
    other = Settings(stated_at="front edge")
    verdict = judge(a_unit(settings=other), some_limits())

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", ["other settings"])
    assert "stated_at is front edge, not plunger" in verdict.reasons()[0].in_words(UNITS)


def test_any_setting_that_moves_a_number_counts_and_those_that_do_not_are_left_alone() -> None:
    plain = Settings()
    window = replace(plain, feature=replace(plain.feature, window_from_mm=2.0))
    later = replace(plain, feature=replace(plain.feature, latency_bound_s=0.02))
    two_newton = replace(plain, feature=replace(plain.feature, bed_newton=2.0))
    at_two = some_limits(expected=Expected(keys=(Key(40),), bed_newton=2.0))

    assert codes(judge(a_unit(settings=window), some_limits())) == ["other settings"]
    assert judge(a_unit(settings=later), some_limits()).outcome == "pass"
    assert judge(a_unit(settings=two_newton), at_two).outcome == "pass"


def test_limits_for_another_model_pass_nothing() -> None:
    verdict = judge(a_unit(), some_limits(expected=Expected(keys=(Key(40),), instrument="fern")))

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", ["other instrument"])


# --- let-off and findings


@pytest.mark.parametrize(
    ("required", "found", "outcome"),
    [
        ("found", "found", "pass"),
        ("found", "shoulder", "fail"),
        ("found", "none", "fail"),
        ("shoulder", "found", "pass"),
        ("shoulder", "shoulder", "pass"),
        ("shoulder", "none", "fail"),
    ],
)
def test_a_let_off_is_required_or_a_shoulder_will_do(required: str, found: str, outcome: str) -> None:
    limits = some_limits(letoff=LetoffLimit(required, frozenset({Key(40)})))  # type: ignore[arg-type]

    assert judge(a_unit(a_key(letoff=found)), limits).outcome == outcome  # type: ignore[arg-type]


def test_grit_may_hide_a_let_off() -> None:
    gritty = a_key(letoff="none", findings=(a_finding("gritty"),))
    limits = some_limits(letoff=LetoffLimit("found", frozenset({Key(40)})), fail_on=frozenset())

    assert [one.outcome for one in judge_key(gritty, limits).decisions if one.code == "letoff"] == ["cannot tell"]


@pytest.mark.parametrize(("code", "outcome"), [("gritty", "fail"), ("clipped", "cannot tell"), ("stray_note", "pass")])
def test_findings_fail_a_key_or_make_it_doubtful_or_do_no_harm(code: str, outcome: str) -> None:
    verdict = judge(a_unit(a_key(findings=(a_finding(code),))), some_limits())

    assert verdict.outcome == outcome
    assert codes(verdict) == ([] if outcome == "pass" else [f"finding:{code}"])
    assert verdict.wrong is None or outcome == "pass"  # a check has no probability


def test_a_key_that_stands_out_fails_only_if_that_is_asked() -> None:
    reason = OddReason("friction", "sticky: more friction, {} where its neighbours have {}", ((0.3, "N"), (0.2, "N")))
    unit = replace(a_unit(), odd_keys=(OddKey(a_key(), (reason,)),))

    assert judge(unit, some_limits()).outcome == "pass"
    assert codes(judge(unit, some_limits(stands_out_in=frozenset({"friction"})))) == ["stands out:friction"]


# --- steps and spread


NATURALS = [Key(number) for number in range(1, 89) if Key(number).colour == "natural"]


def a_row(values: dict[int, float]) -> UnitVerdict:
    numbers = [key.number for key in NATURALS[:20]]
    limit = StepLimit(measurand="down_weight", unit="N", within=0.03, keys=frozenset(NATURALS[:20]))
    keys = [a_key(number, down_weight=values.get(number, 0.5)) for number in numbers]
    return judge(a_unit(*keys), some_limits(a_limit(lower=0.0, upper=1.0), keys=numbers, steps=(limit,)))


def test_a_key_that_is_off_its_neighbours_fails_and_they_do_not() -> None:
    """A key off by twice what is allowed lies a whole step from each neighbour's mean; the neighbours are good keys."""
    high = NATURALS[3].number
    verdict = a_row({high: 0.57})

    assert [(one.key, one.outcome) for one in verdict.reasons()] == [(Key(high), "fail")]
    assert verdict.reasons()[0].value == pytest.approx(0.07)
    # own u of 2 mN of the key, and of the mean of two keys: 2 sqrt(1 + 1/2)
    assert verdict.reasons()[0].u == pytest.approx(0.002 * math.sqrt(1.5))
    assert verdict.reasons()[0].in_words(UNITS) == "Down weight less that of its neighbours: 0.070 N is above 0.030 N"


@pytest.mark.parametrize(("first", "second"), [(1, 3), (8, 9), (7, 9), (0, 9)])
def test_two_bad_keys_are_found_and_no_good_one_wherever_they_lie(first: int, second: int) -> None:
    first, second = NATURALS[first].number, NATURALS[second].number

    reasons = a_row({first: 0.58, second: 0.58}).reasons()

    assert {one.key for one in reasons if one.outcome == "fail"} == {Key(first), Key(second)}


def test_a_good_key_between_two_bad_ones_cannot_be_told_from_a_bad_one() -> None:
    left, between, right = (NATURALS[place].number for place in (7, 8, 9))

    assert {one.key.number: one.outcome for one in a_row({left: 0.58, right: 0.58}).reasons() if one.key} == {
        left: "fail",
        right: "fail",
        between: "cannot tell",
    }


def test_a_key_without_neighbours_has_no_step_that_could_pass() -> None:
    limit = StepLimit(measurand="down_weight", unit="N", within=0.03, keys=frozenset({Key(40)}))
    verdict = judge(a_unit(), some_limits(steps=(limit,)))

    assert (verdict.outcome, codes(verdict)) == ("cannot tell", ["step:down_weight"])


def a_scattered_unit(spread: float) -> UnitVerdict:
    random = np.random.default_rng(3)
    keys = [a_key(key.number, down_weight=0.5 + spread * random.standard_normal()) for key in NATURALS]
    limit = SpreadLimit(measurand="down_weight", unit="N", upper=0.02, colours=("natural",))
    numbers = [key.number for key in NATURALS]
    return judge(a_unit(*keys), some_limits(a_limit(lower=0.0, upper=1.0), keys=numbers, spreads=(limit,)))


@pytest.mark.parametrize(("spread", "outcome"), [(0.01, "pass"), (0.02, "cannot tell"), (0.035, "fail")])
def test_the_spread_of_a_colour_is_judged(spread: float, outcome: str) -> None:
    verdict = a_scattered_unit(spread)

    assert verdict.outcome == outcome
    assert [one.outcome for one in verdict.of_the_unit] == [outcome]


def test_a_spread_of_which_a_key_is_missing_cannot_be_told() -> None:
    limit = SpreadLimit(measurand="friction", unit="N", upper=0.02)
    verdict = judge(a_unit(), some_limits(spreads=(limit,)))

    assert [one.outcome for one in verdict.of_the_unit] == ["cannot tell"]
    assert "that of C4 is missing: nobody measured it" in verdict.of_the_unit[0].in_words(UNITS)


@given(st.floats(0.2, 5.0), st.floats(3.0, 60.0), st.floats(0.0, 0.5))
def test_a_spreads_probability_is_that_of_its_chi_square(ratio: float, dof: float, own: float) -> None:
    """Closed form: the true variance is s^2 dof / chi2; it and the rig's own must stay below the limit's square."""
    scatter = Scatter(variance=ratio, dof=dof, own_variance=own, count=50)
    decided = decide_spread(scatter, 1.0, How())
    expected = float(chi2.sf(ratio * dof / (1.0 + own), dof))

    assert decided.conforming == pytest.approx(expected, rel=1e-6, abs=1e-12)
    assert decided.outcome == ("pass" if 1.0 - expected <= 0.05 else "fail" if expected <= 0.05 else "cannot tell")


# --- how probabilities are put together


def a_decision(outcome: str, conforming: float | None, key: int = 40, *, value: float | None = None) -> Decision:
    """One with limits at 1 and 3, and the value that is given."""
    return Decision(
        code="x",
        key=Key(key),
        outcome=outcome,  # type: ignore[arg-type]
        value=value,
        lower=1.0,
        upper=3.0,
        conforming=conforming,
        template="x",
    )


def test_a_pass_is_wrong_at_most_with_the_sum_and_a_fail_with_the_surest_failing_decision() -> None:
    passes = [a_decision("pass", 0.99), a_decision("pass", 0.98), a_decision("pass", None)]
    fails = [a_decision("fail", 0.04), a_decision("fail", 0.001), a_decision("fail", None), a_decision("pass", 0.9)]

    assert bound_of_wrong("pass", passes) == pytest.approx(0.03)
    assert bound_of_wrong("fail", fails) == 0.001
    assert bound_of_wrong("fail", fails[2:]) is None
    assert bound_of_wrong("cannot tell", [*passes, a_decision("cannot tell", 0.7)]) == pytest.approx(0.33)
    assert bound_of_wrong("cannot tell", [*passes, a_decision("cannot tell", None)]) is None
    assert bound_of_wrong("pass", [a_decision("pass", 0.5)] * 5) == 1.0


def test_the_bound_holds_however_the_numbers_hang_together() -> None:
    """Drawn: ten keys at 2 u within their limit, their errors independent, or one and the same."""
    random = np.random.default_rng(1)
    bound = 10 * norm.sf(2.0)
    for shared in (0.0, 0.7, 1.0):
        own = random.standard_normal((20_000, 10))
        errors = math.sqrt(shared) * random.standard_normal((20_000, 1)) + math.sqrt(1.0 - shared) * own
        wrongly_passed = float(np.mean((errors > 2.0).any(axis=1)))

        assert wrongly_passed <= bound + 3.0 * math.sqrt(bound / 20_000)


def test_worst_first_is_fail_before_doubt_before_pass_and_by_how_far_or_how_probable() -> None:
    made = [
        key_verdict(Key(1), [a_decision("pass", 0.96, 1)]),
        key_verdict(Key(2), [a_decision("cannot tell", 0.5, 2), a_decision("pass", 0.99, 2)]),
        key_verdict(Key(3), [a_decision("fail", 0.001, 3, value=3.2)]),
        key_verdict(Key(4), [a_decision("fail", 0.04, 4, value=0.7)]),
        key_verdict(Key(5), [a_decision("fail", None, 5)]),
        key_verdict(Key(6), [a_decision("cannot tell", None, 6)]),
        key_verdict(Key(7), [a_decision("fail", None, 7)]),
        key_verdict(Key(8), []),
    ]
    verdict = unit_verdict(a_header(), "x", made, ())

    assert [key.key.number for key in verdict.keys] == [5, 7, 4, 3, 6, 2, 1, 8]


@given(st.lists(st.sampled_from(["pass", "fail", "cannot tell"])))
def test_the_outcome_is_the_worst_of_all(outcomes: list[str]) -> None:
    expected = "fail" if "fail" in outcomes else "cannot tell" if "cannot tell" in outcomes else "pass"

    assert outcome_of([a_decision(one, None) for one in outcomes]) == expected


def test_a_key_alone_is_judged_as_in_its_unit_but_for_its_neighbours() -> None:
    key, limits = a_key(down_weight=0.549, findings=(a_finding("clipped", odd=False),)), some_limits()

    assert judge_key(key, limits) == judge(a_unit(key), limits).keys[0]
