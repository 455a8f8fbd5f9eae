"""Local lines: the published LOESS example, and the lowess of statsmodels as an independent check."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.statistics.smooth import local_lines, robust_lines
from tests.processing.statistics.truths import column, table


def test_the_loess_example_of_the_handbook_is_reproduced() -> None:
    """NIST/SEMATECH e-Handbook 4.1.4.4: q = 7, linear, tricube; printed to seven digits."""
    data = table("nist_loess_dep144.csv")
    x, y = data["x"].to_numpy(), data["y"].to_numpy()

    fitted = local_lines(x, x, 7) @ y

    assert fitted == pytest.approx(data["fit_q7_linear_tricube_published"].to_numpy(), rel=1e-6)


@pytest.mark.parametrize("times", [0, 3])
def test_statsmodels_lowess_gives_the_same(times: int) -> None:
    from statsmodels.nonparametric.smoothers_lowess import lowess

    x, y = column("nist_loess_dep144.csv", "x"), column("nist_loess_dep144.csv", "y")

    ours = (local_lines(x, x, 7) if times == 0 else robust_lines(x, y, 7)[0]) @ y

    assert ours == pytest.approx(lowess(y, x, frac=7 / 21, it=times, return_sorted=False), abs=1e-9)


def test_the_robust_fit_of_the_original_program_is_reproduced() -> None:
    """Test data of statsmodels, made with the lowess of R: two thirds of 20 points, three robust rounds."""
    data = table("test_lowess_iter.csv")
    x, y = data["x"].to_numpy(np.float64), data["y"].to_numpy()

    assert robust_lines(x, y, 13)[0] @ y == pytest.approx(data["out_3"].to_numpy(), abs=1e-10)


@given(slope=st.floats(-5, 5), level=st.floats(-5, 5), window=st.integers(3, 12))
def test_a_line_stays_a_line(slope: float, level: float, window: int) -> None:
    x = np.arange(12.0)

    assert local_lines(x, x, window) @ (level + slope * x) == pytest.approx(level + slope * x, abs=1e-8)


def test_where_everything_near_is_mistrusted_nothing_is() -> None:
    x = np.arange(6.0)

    rows = local_lines(x[:1], x, 3, np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0]))

    assert rows @ x == pytest.approx([0.0], abs=1e-12)
