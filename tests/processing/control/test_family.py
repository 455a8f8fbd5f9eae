"""Under no change a family of charts signals as seldom as it says; planted changes are found by it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from processing.control.family import widths_for
from processing.control.settings import ControlSettings
from processing.control.watch import watch
from processing.stages import FloatArray

SERIES, BASELINE, HORIZON, FAMILIES = 6, 20, 40, 300
QUICK = ControlSettings(false_alarms=0.2, horizon=HORIZON, replicates=50_000)


def signals(lines: FloatArray, settings: ControlSettings) -> bool:
    """Return whether any series of a family (series, units) signals."""
    widths = widths_for(len(lines), BASELINE, settings)
    return any(watch(line, BASELINE, widths, settings).signals for line in lines)


def test_without_a_change_a_family_cries_wolf_as_seldom_as_it_says() -> None:
    """300 families of 6 independent series, seeds other than those that made the limits; 20 % so that few show it."""
    random = np.random.default_rng(77)
    false = sum(signals(random.standard_normal((SERIES, BASELINE + HORIZON)), QUICK) for _ in range(FAMILIES))

    low, high = binom.ppf([0.005, 0.995], FAMILIES, QUICK.false_alarms)
    assert low <= false <= high


def test_series_that_go_together_cry_wolf_no_more_often_than_stated() -> None:
    random = np.random.default_rng(78)
    false = 0
    for _ in range(150):
        shared = random.standard_normal(BASELINE + HORIZON)
        false += signals(0.9 * shared + 0.44 * random.standard_normal((SERIES, BASELINE + HORIZON)), QUICK)

    assert false <= binom.ppf(0.995, 150, QUICK.false_alarms)


def test_limits_of_three_sigma_would_cry_wolf_in_nearly_every_family() -> None:
    widths = widths_for(SERIES, BASELINE, QUICK)

    assert widths.single > 4.0


@pytest.mark.parametrize("more", [{"series": 60}, {"baseline": 15}])
def test_more_series_and_fewer_units_in_the_baseline_need_wider_limits(more: dict[str, int]) -> None:
    usual, wider = (widths_for(**({"series": 6, "baseline": 20} | given), settings=QUICK) for given in ({}, more))

    assert wider.single > usual.single
    assert wider.average > usual.average
    assert wider.sums > usual.sums


def test_several_changes_in_one_series_are_told_apart() -> None:
    settings = replace(QUICK, horizon=100)
    values = 0.5 * np.sin(2.7 * np.arange(130.0) ** 1.1)
    values[50:] += 4.0
    values[90:100] -= 6.0

    watched = watch(values, 30, widths_for(SERIES, 30, settings), settings)

    assert [(event.kind, event.first, event.last) for event in watched.events] == [
        ("step", 50, None),
        ("batch", 90, 99),
    ]
    assert set(watched.signals) == {"single values", "moving average", "cumulative sums"}


def test_units_without_a_value_keep_their_place() -> None:
    values = np.sin(2.7 * np.arange(130.0) ** 1.1)
    values[60:] += 6.0
    values[[5, 40, 59]] = np.nan
    settings = replace(QUICK, horizon=100)

    event = watch(values, 30, widths_for(1, 29, settings), settings).events[0]

    assert (event.kind, event.first, event.count) == ("step", 60, 130)
