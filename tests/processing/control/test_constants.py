"""Constants of charts against published tables and an independent distribution of the range."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import studentized_range

from processing.control.constants import chart_constants

TABLE = json.loads((Path(__file__).parents[2] / "truths/control/shewhart_constants.json").read_text())


@pytest.mark.parametrize("size", TABLE["n"])
def test_constants_are_those_of_the_published_table(size: int) -> None:
    """To a unit of the last printed digit, for some of the table's follow from rounded ones.

    D4 of 5 is printed 2.115 and is 2.1145 (see reference/README.md).
    """
    row = {name: TABLE[name][size - 2] for name in ("A2", "D3", "D4", "d2", "d3", "c4")}
    found = chart_constants(size)

    assert [found.a2, found.lower_range, found.upper_range, found.d2, found.d3] == pytest.approx(
        [row["A2"], row["D3"], row["D4"], row["d2"], row["d3"]], abs=1e-3
    )
    assert found.c4 == pytest.approx(row["c4"], abs=6e-5)


@pytest.mark.parametrize(
    ("size", "a3", "b3", "b4"),
    [(2, 2.659, 0.0, 3.267), (5, 1.427, 0.0, 2.089), (10, 0.975, 0.284, 1.716), (25, 0.606, 0.565, 1.435)],
)
def test_constants_of_the_standard_deviation_are_the_published_ones(size: int, a3: float, b3: float, b4: float) -> None:
    """A3, B3, B4 as in tables of ISO 7870-2 (from memory)."""
    found = chart_constants(size)

    assert [found.a3, found.b3, found.b4] == pytest.approx([a3, b3, b4], abs=6e-4)


def test_the_range_of_two_is_known_in_closed_form() -> None:
    """|x1 - x2|: mean 2 / sqrt(pi), variance 2 - 4 / pi."""
    found = chart_constants(2)

    assert found.d2 == pytest.approx(2.0 / np.sqrt(np.pi), rel=1e-9)
    assert found.d3 == pytest.approx(np.sqrt(2.0 - 4.0 / np.pi), rel=1e-9)


@pytest.mark.parametrize("size", [3, 7, 88])
def test_the_mean_range_is_that_of_the_studentized_range_with_endless_degrees_of_freedom(size: int) -> None:
    r = np.linspace(0.0, 12.0, 61)
    beyond = studentized_range.sf(r, size, np.inf)

    assert chart_constants(size).d2 == pytest.approx(np.trapezoid(beyond, r), abs=2e-4)


def test_a_sample_of_one_has_no_constants() -> None:
    with pytest.raises(ValueError, match="no spread"):
        chart_constants(1)
