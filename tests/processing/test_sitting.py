"""Drift over a sitting, told by check keys, taken out of a keyboard's numbers."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from processing.display import Units
from processing.errors import ForeignChecks
from processing.keyboard import KeyboardResult, compare_keys
from processing.sitting import settled
from processing.sitting_words import drift_sentences
from processing.statistics.drift import DIFFER, SITTING
from recordings.keys import ALL_KEYS, Key
from tests.builders import SETTINGS, a_curve
from tests.processing.comparison.keyboards import a_keyboard, a_measurement

SECONDS_A_KEY = 20.0
CHECK_KEYS = (Key(4), Key(40), Key(76))
NEWTON_AN_HOUR = 0.05
NEVER = 0.0
WAY = np.arange(0.0, 9.0, 0.05)


def drifting(true: KeyboardResult, *, begins_s: float = 0.0, an_hour: float = NEWTON_AN_HOUR) -> KeyboardResult:
    """The keyboard recorded from left to right, its down weight growing with the time since the sitting began."""
    keys = []
    for place, key in enumerate(true.keys):
        at_s = begins_s + SECONDS_A_KEY * place
        known = key["down_weight"]
        assert known.value is not None
        grown = a_measurement("down_weight", "N", known.value + an_hour * at_s / 3600.0)
        measurements = tuple(grown if one.name == "down_weight" else one for one in key.measurements)
        keys.append(replace(key, measurements=measurements, began_s=5000.0 + at_s))
    run = replace(true.header.run, started_at=true.header.run.started_at + timedelta(seconds=begins_s))
    return compare_keys(replace(true.header, run=run), tuple(keys), SETTINGS)


def checks_of(
    true: KeyboardResult, *begin_s: float, an_hour: float = NEWTON_AN_HOUR
) -> list[tuple[str, KeyboardResult]]:
    """The check keys recorded again, with a little noise, at some times."""
    random = np.random.default_rng(6)
    found = []
    for number, begins_s in enumerate(begin_s):
        some = replace(true, keys=tuple(key for key in true.keys if key.key in CHECK_KEYS))
        drifted = drifting(some, begins_s=begins_s, an_hour=an_hour)
        noisy = []
        for key in drifted.keys:
            measurements = tuple(
                replace(one, value=one.value + 0.0003 * random.standard_normal()) if one.value is not None else one
                for one in key.measurements
            )
            noisy.append(replace(key, measurements=measurements))
        found.append((f"check {number}", replace(drifted, keys=tuple(noisy))))
    return found


TRUE = a_keyboard(seed=3)
LAST_S = SECONDS_A_KEY * len(ALL_KEYS)


def test_a_drift_that_check_keys_tell_is_taken_out_of_every_key() -> None:
    sitting = settled(drifting(TRUE), checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0))
    (sure,) = [one for one in sitting.drifted if one.sure]
    middle = NEWTON_AN_HOUR * LAST_S / 2.0 / 3600.0
    left = [
        key["down_weight"].value - true["down_weight"].value - middle
        for key, true in zip(sitting.result.keys, TRUE.keys, strict=True)
    ]  # type: ignore[operator]

    assert sure.name == "down_weight"
    assert abs(sure.drift.per_hour.value - NEWTON_AN_HOUR) < sure.drift.per_hour.expanded()
    assert np.abs(left).max() < 0.1 * NEWTON_AN_HOUR * LAST_S / 3600.0


def test_what_the_slope_is_unsure_of_is_a_line_that_both_ends_have_with_opposite_sign() -> None:
    sitting = settled(drifting(TRUE), checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0))
    budgets = [key["down_weight"].budget for key in (sitting.result.keys[0], sitting.result.keys[-1])]
    lines = [next(line for line in budget.lines if line.name == SITTING) for budget in budgets if budget is not None]

    assert lines[0].contribution == pytest.approx(-lines[1].contribution, rel=0.05)
    assert lines[0].contribution > 0.0


def test_a_drift_that_is_not_sure_is_taken_out_as_well_and_its_bound_is_told() -> None:
    still = drifting(TRUE, an_hour=NEVER)
    sitting = settled(still, checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0, an_hour=NEVER))
    sentences = drift_sentences(sitting, "fern", Units())

    (down,) = [one for one in sitting.drifted if one.name == "down_weight"]
    hours = LAST_S / 2.0 / 3600.0
    before, after = (result.keys[0]["down_weight"] for result in (still, sitting.result))
    assert before.value is not None
    assert after.value == pytest.approx(before.value + down.drift.per_hour.value * hours, rel=0.05)
    assert not down.sure
    assert after.u > before.u  # type: ignore[operator]
    assert "nothing surely drifted" in sentences[0]
    assert "from the first key to the last there drifted at most" in sentences[1]
    assert "down weight by 0." in sentences[1]
    assert "if it drifted straight" in sentences[1]


def with_drifting_curves(result: KeyboardResult) -> KeyboardResult:
    """Every curve as high as the down weight that was measured with it, so drifting as that does."""
    keys = []
    for key in result.keys:
        level = key["down_weight"].value
        assert level is not None
        keys.append(replace(key, curve=a_curve(WAY, np.full(len(WAY), level), np.full(len(WAY), level - 0.2))))
    return replace(result, keys=tuple(keys))


def test_curves_are_settled_as_the_numbers_are() -> None:
    checks = [
        (name, with_drifting_curves(check)) for name, check in checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0)
    ]
    settled_keys = settled(with_drifting_curves(drifting(TRUE)), checks).result.keys
    curves = [key.curve for key in settled_keys if key.curve is not None]
    numbers = np.array([key["down_weight"].value for key in settled_keys])

    assert [float(curve.down_newton[20]) for curve in curves] == pytest.approx(numbers)
    assert [float(curve.up_newton[20]) for curve in curves if curve.up_newton is not None] == pytest.approx(
        numbers - 0.2
    )
    assert all(curve.drift_left is not None for curve in curves)


def test_too_few_checks_say_so() -> None:
    sitting = settled(drifting(TRUE), checks_of(TRUE, LAST_S))

    assert (sitting.checks, sitting.drifted) == (6, ())
    assert sitting.result.keys[0]["down_weight"] == drifting(TRUE).keys[0]["down_weight"]
    assert "6 measurements of the check keys C1, C4, C7 are too few" in drift_sentences(sitting, "fern", Units())[0]


def test_check_keys_side_by_side_right_before_and_after_each_other_say_so() -> None:
    """Their own recording is as long as theirs, and all of it at nearly the time of the checks."""
    true = replace(TRUE, keys=tuple(key for key in TRUE.keys if key.key.number in (4, 40, 76)))
    long = replace(drifting(true), keys=(*drifting(true).keys, *drifting(TRUE).keys[-1:]))
    sitting = settled(long, checks_of(true, 1.0, 2.0, 3.0))

    assert sitting.drifted == ()
    assert "too close together in time" in drift_sentences(sitting, "fern", Units())[0]


def test_numbers_that_are_the_same_every_time_have_not_drifted() -> None:
    """Rungs of the repetition ladder: a slope of 1e-17 with an uncertainty of 0 is none."""
    rungs = {4: 7.3, 40: 9.9, 76: 10.3}
    checks = checks_of(with_rungs(TRUE, rungs), -100.0, LAST_S / 2.0, LAST_S + 100.0)
    sitting = settled(drifting(with_rungs(TRUE, rungs)), [(place, with_rungs(one, rungs)) for place, one in checks])

    (fastest,) = [one for one in sitting.drifted if one.name == "repetition_limit"]
    assert fastest.drift.p == 1.0
    assert "epetition" not in " ".join(drift_sentences(sitting, "fern", Units()))


def with_rungs(result: KeyboardResult, rungs: dict[int, float]) -> KeyboardResult:
    keys = []
    for key in result.keys:
        rung = a_measurement("repetition_limit", "Hz", rungs.get(key.key.number, 8.4))
        measurements = tuple(rung if one.name == rung.name else one for one in key.measurements)
        keys.append(replace(key, measurements=measurements))
    return replace(result, keys=tuple(keys))


def test_recordings_that_are_off_as_a_whole_are_told_and_do_not_pass_for_drift() -> None:
    """One more zero in each of three checks: -0.01, 0.03 and 0.02 N; noise is 0.0003 N."""
    still, checks = drifting(TRUE, an_hour=NEVER), checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0, an_hour=NEVER)
    off = [(place, heavier(check, by)) for (place, check), by in zip(checks, (-0.01, 0.03, 0.02), strict=True)]
    sitting = settled(still, off)
    (down,) = [one for one in sitting.drifted if one.name == "down_weight"]
    said = " ".join(drift_sentences(sitting, "fern", Units()))

    assert not down.sure
    assert down.uneven
    assert down.drift.differ.u == pytest.approx(np.std([0.0, -0.01, 0.03, 0.02], ddof=1), rel=0.3)
    assert abs(down.drift.between(*down.drift.hours).value) < 0.003
    assert "of down weight the recordings surely do not lie on one straight line in time" in said
    assert "the keyboard's own 1.0" in said
    assert "under their average" in said
    assert "brought to what all recordings show on average" in said


def test_a_keyboard_is_brought_to_what_all_recordings_show_on_average() -> None:
    """Its own zero is 0.04 N too high, that of a check 0.02 N too low."""
    still, checks = drifting(TRUE, an_hour=NEVER), checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0, an_hour=NEVER)
    off = [(place, heavier(check, by)) for (place, check), by in zip(checks, (0.0, -0.02, 0.0), strict=True)]
    sitting = settled(heavier(still, 0.04), off)
    changed = [
        after["down_weight"].value - before["down_weight"].value  # type: ignore[operator]
        for after, before in zip(sitting.result.keys, TRUE.keys, strict=True)
    ]
    budgets = [key["down_weight"].budget for key in sitting.result.keys]
    differ = {line.contribution for one in budgets if one is not None for line in one.lines if line.name == DIFFER}
    (down,) = [one for one in sitting.drifted if one.name == "down_weight"]

    assert np.mean(changed) == pytest.approx(np.mean([0.04, 0.0, -0.02, 0.0]), abs=0.002)
    assert differ == {down.drift.differ_u}
    assert 0.01 < down.drift.differ_u < 0.03  # four recordings scatter by 0.025 N, or it drifted in a bend


def heavier(result: KeyboardResult, by: float) -> KeyboardResult:
    keys = []
    for key in result.keys:
        known = key["down_weight"]
        assert known.value is not None
        more = replace(known, value=known.value + by)
        keys.append(replace(key, measurements=tuple(more if one is known else one for one in key.measurements)))
    return replace(result, keys=tuple(keys))


def test_few_checks_say_that_they_can_hardly_tell_a_bend() -> None:
    few = settled(drifting(TRUE), checks_of(TRUE, -100.0, LAST_S + 100.0))
    more = settled(drifting(TRUE), checks_of(TRUE, -100.0, LAST_S / 2.0, LAST_S + 100.0))

    assert "can hardly tell whether it drifted straight" in " ".join(drift_sentences(few, "fern", Units()))
    assert "hardly" not in " ".join(drift_sentences(more, "fern", Units()))


def test_keys_before_the_first_and_after_the_last_check_are_told() -> None:
    sitting = settled(drifting(TRUE), checks_of(TRUE, 400.0, 700.0, 1000.0))

    assert sitting.outside == tuple(Key(number) for number in (1, 2, 3, *range(77, 89)))
    assert "15 keys, among them A0" in " ".join(drift_sentences(sitting, "fern", Units()))


def test_checks_of_other_keys_are_refused_by_their_name() -> None:
    only_left = replace(drifting(TRUE), keys=drifting(TRUE).keys[:3])

    with pytest.raises(ForeignChecks, match="check 0: it holds no measured key"):
        settled(only_left, checks_of(TRUE, LAST_S))
