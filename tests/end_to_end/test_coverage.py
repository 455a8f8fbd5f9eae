"""The stated 95 % intervals hold the truth as often as they say: a small `make coverage`, and a test of its judge.

How it works: 64 keys, so many of whose intervals must hold the truth that an honest 95 % fails once in a thousand at
most, all measurands together (Bonferroni over them), by the binomial distribution. The judge itself is shown to see an
uncertainty that is half or twice what it should be, on these keys and over as many as `make coverage` presses.
"""

from __future__ import annotations

import os
from dataclasses import replace
from functools import partial
from multiprocessing import Pool

import numpy as np
import pytest
from scipy.stats import binom

from benchmarks.coverage import HIGHEST, LOWEST, Held, Row, hold_number, rows_of, verdict

KEYS, SEED = 64, 7
CHANCE = 0.001
"""Of failing though every measurand is covered 92 % of the time, all measurands together."""
WIDEST = 8.0
"""U95 over the median error: 2.9 for a normal law with a known deviation (1.96 / 0.674); 4 to 6 with few degrees of
freedom, bounds, and the chance of a median of 64."""
LONG = pytest.mark.timeout(900)
"""Whichever test comes first presses the keys for all, a minute on two free cores, and on busy ones several."""


@pytest.fixture(scope="module")
def held() -> list[Held]:
    with Pool(os.cpu_count()) as pool:
        by_key = pool.map(partial(hold_number, seed=SEED), range(KEYS), chunksize=4)
    return [one for key in by_key for one in key]


def narrow(rows: list[Row]) -> set[str]:
    """Return the measurands whose intervals hold the truth less often than chance lets 92 % do."""
    return {row.name for row in rows if row.covered * row.count < binom.ppf(CHANCE / len(rows), row.count, LOWEST)}


def wide(rows: list[Row]) -> set[str]:
    """Return the measurands whose intervals are many times their error: so few keys cannot tell 99 from 95 %."""
    return {row.name for row in rows if row.median_expanded > WIDEST * row.median_error}


def with_uncertainty_times(factor: float, held: list[Held]) -> list[Row]:
    return rows_of(replace(one, expanded=None if one.expanded is None else factor * one.expanded) for one in held)


@LONG
@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say(held: list[Held]) -> None:
    rows = rows_of(held)

    assert len(rows) == 29
    assert narrow(rows) == set()
    assert wide(rows) == set()


@LONG
@pytest.mark.slow
def test_the_same_keys_with_half_the_uncertainty_are_seen_to_be_narrow(held: list[Held]) -> None:
    assert len(narrow(with_uncertainty_times(0.5, held))) > 5


@LONG
@pytest.mark.slow
def test_the_same_keys_with_twice_the_uncertainty_are_seen_to_be_wide(held: list[Held]) -> None:
    assert len(wide(with_uncertainty_times(2.0, held))) > 5


def held_with(error_over_u: float, keys: int) -> list[Held]:
    """Return normal errors, so many times what is stated, with the interval of a normal law."""
    errors = error_over_u * np.random.default_rng(1).standard_normal(keys)
    return [Held("key_dip", "motor sharp", 10.0 + float(error), 10.0, 1.96) for error in errors]


@pytest.mark.parametrize(
    ("error_over_u", "said"), [(1.0, ""), (2.0, "narrow"), (0.5, "wide")], ids=["right", "half", "twice"]
)
def test_the_judge_sees_an_uncertainty_that_is_half_or_twice_what_it_should_be(error_over_u: float, said: str) -> None:
    """Half as large holds 67 of 100 (normal law), twice as large 99.99."""
    (row,) = rows_of(held_with(error_over_u, 1200))

    assert row.verdict == said
    assert row.groups_off == ({"motor sharp": said} if said else {})


def test_a_share_is_called_wide_only_beyond_doubt() -> None:
    """100 of 100 may be 96 % by chance (0.025^(1/100) = 0.964), 1000 of 1000 may not (0.025^(1/1000) = 0.996)."""
    assert verdict(0.025 ** (1 / 100), 1.0) == ""
    assert verdict(0.025 ** (1 / 1000), 1.0) == "wide"
    assert LOWEST < HIGHEST < 1.0
