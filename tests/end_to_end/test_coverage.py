"""The stated 95 % intervals hold the truth as often as they say: a small `make coverage`, by motor and by hand."""

from __future__ import annotations

import pytest

from benchmarks.coverage import HIGHEST, LOWEST, Held, Row, hold_number, rows_of, verdict

KEYS = 48
WIDEST = 8.0
"""U95 over the median error: 2.9 for a normal law with a known deviation (1.96 / 0.674), more for bounds and few
strokes; far more says nothing."""


@pytest.fixture(scope="module")
def rows() -> dict[str, Row]:
    return {row.name: row for row in rows_of(one for number in range(KEYS) for one in hold_number(number, seed=7))}


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        "down_weight",
        "up_weight",
        "friction",
        "key_dip",
        "bed_contact",
        "letoff_peak_position",
        "letoff_drop",
        "trigger_position",
    ],
)
def test_intervals_hold_the_truth_as_often_as_they_say(rows: dict[str, Row], name: str) -> None:
    row = rows[name]

    assert row.count == KEYS
    assert row.covered_from <= HIGHEST
    assert row.covered_to >= LOWEST
    assert row.median_expanded < WIDEST * row.median_error


def test_intervals_half_as_wide_as_they_should_be_are_called_narrow() -> None:
    """One standard deviation instead of two holds 68 of 100."""
    held = [Held("key_dip", "motor sharp", 10.0 + (number >= 68), 10.0, 0.5) for number in range(100)]

    (row,) = rows_of(held)

    assert (row.covered, row.verdict) == (0.68, "narrow")


def test_a_share_is_called_wide_only_beyond_doubt() -> None:
    """100 of 100 may be 96 % by chance (0.025^(1/100) = 0.964), 1000 of 1000 may not (0.025^(1/1000) = 0.996)."""
    assert verdict(0.025 ** (1 / 100), 1.0) == ""
    assert verdict(0.025 ** (1 / 1000), 1.0) == "wide"
