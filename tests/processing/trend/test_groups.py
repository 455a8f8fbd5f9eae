"""One number a unit and group: it follows all keys together, no single bad one and no missing one."""

from __future__ import annotations

import numpy as np
import pytest

from processing.trend.groups import GROUPS, Statistic, group_series
from processing.trend.news import groups_in_words
from recordings.keys import ALL_KEYS

UNITS, BASELINE = 12, 8
NATURALS_MIDDLE = GROUPS[1]


def keyboards() -> np.ndarray:
    """Keys rise by 1 each; all units are alike."""
    return np.tile(np.arange(1.0, 89.0), (UNITS, 1))


def number_of(values: np.ndarray, statistic: Statistic = "median") -> np.ndarray:
    found = group_series(values, np.full_like(values, 0.1), BASELINE, NATURALS_MIDDLE, statistic)
    assert found is not None
    return found.values


def test_every_key_is_in_one_group() -> None:
    numbers = [number for group in GROUPS for number in group.numbers]

    assert sorted(numbers) == [key.number for key in ALL_KEYS]


def test_a_change_of_all_keys_shows_at_its_size() -> None:
    values = keyboards()
    values[10:] += 0.7

    assert np.diff(number_of(values))[9] == pytest.approx(0.7)


@pytest.mark.parametrize("statistic", ["median", "mean"])
def test_a_key_that_was_not_measured_does_not_move_the_number(statistic: Statistic) -> None:
    values = keyboards()
    values[9, NATURALS_MIDDLE.numbers[0] - 1] = np.nan  # the lowest of the group: a plain mean would rise

    assert number_of(values, statistic) == pytest.approx(number_of(keyboards(), statistic))


def test_one_bad_key_moves_the_mean_and_not_the_median() -> None:
    values = keyboards()
    values[9, NATURALS_MIDDLE.numbers[3] - 1] += 100.0

    assert number_of(values)[9] == pytest.approx(number_of(keyboards())[9])
    assert number_of(values, "mean")[9] > number_of(keyboards(), "mean")[9] + 1.0


def test_a_unit_with_few_keys_has_no_number() -> None:
    values = keyboards()
    values[9, np.array(NATURALS_MIDDLE.numbers)[1:] - 1] = np.nan

    assert np.flatnonzero(np.isnan(number_of(values))).tolist() == [9]


def test_a_group_that_the_baseline_does_not_know_has_no_series() -> None:
    values = keyboards()
    values[:BASELINE] = np.nan

    assert group_series(values, values, BASELINE, NATURALS_MIDDLE) is None


@pytest.mark.parametrize(
    ("places", "words"),
    [
        (range(6), "all keys"),
        (range(3), "naturals"),
        ((0, 3), "bass"),
        ((0, 1, 2, 4), "naturals; sharps, middle"),
        ((1,), "naturals, middle"),
    ],
)
def test_groups_are_told_in_few_words(places: range, words: str) -> None:
    assert groups_in_words([GROUPS[place] for place in places]) == words
