"""Drift by check keys, steps, sharps against naturals."""

from __future__ import annotations

import numpy as np
import pytest

from processing.statistics.correlated import Resemblance
from processing.statistics.drift import CheckedAgain, drift_bound, drift_of
from processing.statistics.neighbours import sharps_less_naturals, steps_of
from processing.statistics.series import Series
from processing.statistics.shared import nothing_shared
from recordings.keys import ALL_KEYS, Key

CHECKS = [
    CheckedAgain(Key(number), time, level + 0.5 * time / 3600.0 + wobble)
    for number, level in ((4, 1.0), (40, 7.0), (76, -2.0))
    for time, wobble in ((0.0, 0.01), (1200.0, -0.02), (2400.0, 0.01))
]


def a_series(colour: str, values: dict[int, float]) -> Series:
    return Series(
        name="down_weight",
        unit="N",
        colour=colour,
        numbers=tuple(values),
        values=np.array(list(values.values())),
        own_u=np.full(len(values), 0.1),
        own_dof=np.full(len(values), 10.0),
        shared=nothing_shared("N", len(values)),
    )


def test_the_drift_is_that_of_an_analysis_of_covariance_by_statsmodels() -> None:
    import pandas as pd
    from statsmodels.formula.api import ols

    data = pd.DataFrame([(c.key.number, c.time_s / 3600.0, c.value) for c in CHECKS], columns=["key", "hours", "value"])
    reference = ols("value ~ C(key) + hours", data).fit()

    drift = drift_of(CHECKS)

    assert drift is not None
    assert drift.per_hour.value == pytest.approx(reference.params["hours"])
    assert drift.per_hour.u == pytest.approx(reference.bse["hours"])
    assert drift.per_hour.dof == reference.df_resid
    assert drift.repeatability == pytest.approx(np.sqrt(reference.scale))


def test_between_first_and_last_check_the_drift_is_bounded() -> None:
    drift = drift_of(CHECKS)
    assert drift is not None
    assert drift_bound(drift) > drift.per_hour.value * 2400 / 3600


@pytest.mark.parametrize("checks", [CHECKS[:3] + CHECKS[3:4], [CHECKS[0]] * 5], ids=["too few", "all at one time"])
def test_checks_that_cannot_tell_a_drift_tell_none(checks: list[CheckedAgain]) -> None:
    assert drift_of(checks) is None


def test_a_step_is_against_the_neighbours_of_the_same_colour() -> None:
    steps = {step.number: step for step in steps_of(a_series("natural", {40: 1.0, 42: 4.0, 44: 3.0, 49: 9.0}))}

    assert steps[42].difference == pytest.approx(4.0 - 2.0)
    assert steps[42].u == pytest.approx(0.1 * np.sqrt(1.5))
    assert steps[40].difference == pytest.approx(-3.0)
    assert 49 not in steps


def test_sharps_are_held_against_the_naturals_beside_them() -> None:
    naturals = a_series("natural", {key.number: 0.1 * key.number for key in ALL_KEYS if key.colour == "natural"})
    sharps = a_series("sharp", {key.number: 0.1 * key.number + 0.3 for key in ALL_KEYS if key.colour == "sharp"})

    told = sharps_less_naturals(naturals, sharps, Resemblance(0.0))

    assert told is not None
    assert told.value == pytest.approx(0.3)
    assert sharps_less_naturals(naturals, sharps.only(frozenset({2, 5})), Resemblance(0.0)) is None


def test_a_steps_degrees_of_freedom_are_those_of_welch_and_satterthwaite() -> None:
    """Equal u and dof: parts 1, 1/2, 1/2, so (1 + 1/4 + 1/4)^2 / ((1 + 1/16 + 1/16) / 10) = 20."""
    step = next(one for one in steps_of(a_series("natural", {40: 1.0, 42: 4.0, 44: 3.0})) if one.number == 42)

    assert step.dof == pytest.approx(20.0)
    assert step.beside == (40, 44)
