"""Uncertainty against the GUM's own rules and printed values."""

from __future__ import annotations

import numpy as np
import pytest

from processing.uncertainty import noise_line, noisy_copies, strokes_line
from tests.builders import SETTINGS, SyntheticKey, a_curve

X = np.arange(0.0, 10.0, 0.01)


def test_the_mean_of_repeats_has_the_standard_deviation_of_the_mean() -> None:
    """GUM 4.2.3: s / sqrt(n); 1, 2, 3 have s = 1."""
    line = strokes_line([1.0, 2.0, 3.0], "N")

    assert line is not None
    assert (line.u, line.dof, line.kind) == (pytest.approx(1.0 / np.sqrt(3.0)), 2.0, "A")


def test_one_stroke_has_no_type_a_part() -> None:
    assert strokes_line([1.0], "N") is None


def test_noise_that_leans_counts_its_lean() -> None:
    """Copies 1, 2, 3 have s = 1 and lean by 2 - 1 = 1 off the value itself: root of 2."""
    assert noise_line([1.0, 2.0, 3.0], 1.0, "N").u == pytest.approx(np.sqrt(2.0))


def test_noise_drawn_anew_has_the_stated_standard_error_and_is_the_same_each_time() -> None:
    key = SyntheticKey()
    curve = a_curve(X, key.force_down(X), key.force_up(X), u=0.002)
    copies = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, SETTINGS.uncertainty)]
    again = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, SETTINGS.uncertainty)]

    assert np.std(copies) == pytest.approx(0.002, rel=0.1)
    assert np.array_equal(copies, again)
