"""Uncertainty against the GUM's own rules and printed values."""

from __future__ import annotations

import numpy as np
import pytest

from processing.uncertainty import Part, combine, coverage_factor, from_strokes, noisy_copies
from tests.builders import SETTINGS, SyntheticKey, a_curve

X = np.arange(0.0, 10.0, 0.01)


def test_the_mean_of_repeats_has_the_standard_deviation_of_the_mean() -> None:
    """GUM 4.2.3: s / sqrt(n); 1, 2, 3 have s = 1."""
    part = from_strokes([1.0, 2.0, 3.0])

    assert part == Part(pytest.approx(1.0 / np.sqrt(3.0)), 2.0)


def test_one_stroke_has_no_type_a_part() -> None:
    assert from_strokes([1.0]) is None


def test_degrees_of_freedom_follow_welch_and_satterthwaite() -> None:
    """GUM H.1, end gauge: u in nm and degrees of freedom of its table H.1 give u_c 31.66 nm (32 printed), nu 16.7."""
    total = combine([Part(25.0, 18.0), Part(9.7, 25.6), Part(2.9, 50.0), Part(16.6, 2.0)])

    assert total.u == pytest.approx(31.66, abs=0.1)
    assert total.dof == pytest.approx(16.7, abs=0.1)


@pytest.mark.parametrize(
    ("dof", "factor"),
    [(1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (16.7, 2.12), (50, 2.01), (1e6, 1.96)],
    ids=str,
)
def test_coverage_factors_are_those_of_table_g2(dof: float, factor: float) -> None:
    """GUM table G.2, 95 %; 16.7 is cut to 16 before the look-up (G.4.1)."""
    assert coverage_factor(dof, 0.95) == pytest.approx(factor, abs=0.005)


def test_noise_drawn_anew_has_the_stated_standard_error_and_is_the_same_each_time() -> None:
    key = SyntheticKey()
    curve = a_curve(X, key.force_down(X), key.force_up(X), u=0.002)
    copies = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, SETTINGS.uncertainty)]
    again = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, SETTINGS.uncertainty)]

    assert np.std(copies) == pytest.approx(0.002, rel=0.1)
    assert np.array_equal(copies, again)
