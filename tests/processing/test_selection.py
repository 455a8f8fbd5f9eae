"""Medians, quantiles, variances and integrals against numpy's own."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.selection import SHORT, median, quantile, sums, trapezoid, variance
from processing.stages import FloatArray

Shape = Callable[[np.random.Generator, int], FloatArray]
LONG = 5 * SHORT
SHAPES: dict[str, Shape] = {
    "noise": lambda random, count: random.standard_normal(count),
    "a slow way": lambda random, count: np.sin(np.linspace(0.0, 9.0, count)) + 1e-3 * random.standard_normal(count),
    "few values": lambda random, count: random.integers(0, 4, count).astype(float),
    "one value": lambda _, count: np.full(count, 3.0),
    "what the guess never sees": lambda _, count: np.where(np.arange(count) % 5 == 0, 0.0, 1.0),
}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
@settings(max_examples=15, deadline=None)
@given(
    count=st.one_of(st.integers(1, 50), st.integers(SHORT, LONG)), share=st.floats(0.0, 1.0), seed=st.integers(0, 99)
)
def test_medians_and_quantiles_are_those_of_numpy(shape: Shape, count: int, share: float, seed: int) -> None:
    values = shape(np.random.default_rng(seed), count)

    assert median(values) == np.median(values)
    assert quantile(values, share) == pytest.approx(np.quantile(values, share), rel=1e-12, abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(count=st.integers(2, 500), seed=st.integers(0, 99))
def test_variances_integrals_and_running_sums_are_those_of_numpy(count: int, seed: int) -> None:
    values = np.random.default_rng(seed).standard_normal(count)

    assert variance(values) == pytest.approx(np.var(values, ddof=1))
    assert trapezoid(values, 0.01) == pytest.approx(np.trapezoid(values, dx=0.01), abs=1e-12)
    assert sums(values)[-1] - sums(values)[1] == pytest.approx(values[1:].sum(), abs=1e-12)
