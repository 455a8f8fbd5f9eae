"""Drift over a sitting, told by check keys, taken out of a keyboard's numbers."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from processing.display import Units
from processing.errors import ForeignChecks
from processing.keyboard import KeyboardResult, compare_keys
from processing.sitting import settled, sitting_sentences
from processing.statistics.drift import SITTING
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
    sentences = sitting_sentences(sitting, "fern", Units())

    (down,) = [one for one in sitting.drifted if one.name == "down_weight"]
    hours = LAST_S / 2.0 / 3600.0
    before, after = (result.keys[0]["down_weight"] for result in (still, sitting.result))
    assert before.value is not None
    assert after.value == pytest.approx(before.value + down.drift.per_hour.value * hours, rel=0.05)
    assert not down.sure
    assert after.u > before.u  # type: ignore[operator]
    assert "nothing surely drifted" in sentences[0]
    assert "down weight by 0." in sentences[1]


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
    sitting = settled(drifting(TRUE), checks_of(TRUE, LAST_S)[:1])

    assert sitting.checks == 6
    assert len(sitting.drifted) > 0  # each key twice: three more than there are keys
    assert settled(drifting(TRUE), one_key_again()).drifted == ()
    assert "too few" in sitting_sentences(settled(drifting(TRUE), one_key_again()), "fern", Units())[0]


def one_key_again() -> list[tuple[str, KeyboardResult]]:
    (place, check), *_ = checks_of(TRUE, LAST_S)
    return [(place, replace(check, keys=check.keys[:1]))]


def test_checks_of_other_keys_are_refused_by_their_name() -> None:
    only_left = replace(drifting(TRUE), keys=drifting(TRUE).keys[:3])

    with pytest.raises(ForeignChecks, match="check 0: it holds no measured key"):
        settled(only_left, checks_of(TRUE, LAST_S))
