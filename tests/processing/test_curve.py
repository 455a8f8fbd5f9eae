"""The smoothing against exact cases and against an independent library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.curve import (
    RISES_MM,
    SmoothBranch,
    kernel_half_width_mm,
    mean_curve,
    smooth,
    smoother_of,
    smoothers_of,
    to_curve,
)
from processing.errors import NoStroke
from processing.settings import CurveSettings
from processing.stages import Branch, Stroke
from tests.builders import a_curve

GRID = np.arange(0.0, 10.0, 0.01)
SETTINGS = CurveSettings()


def a_branch(way: np.ndarray, force: np.ndarray) -> Branch:
    return Branch(np.arange(len(way)) * 0.001, way, force)


def smoothed(branch: Branch, grid: np.ndarray, half_width_mm: float) -> SmoothBranch:
    return smooth(branch, smoother_of(branch.way_mm, grid, half_width_mm))


def a_stroke(way: np.ndarray, force: np.ndarray) -> Stroke:
    return Stroke(a_branch(way, force), None, 0.0, 0.0, 0.0, False, float(way[-1]))


@settings(max_examples=30, deadline=None)
@given(st.tuples(*[st.floats(-1.0, 1.0)] * 3))
def test_a_parabola_comes_back_exactly(coefficients: tuple[float, float, float]) -> None:
    """Local quadratic regression reproduces quadratics: its bias starts with the fourth derivative."""
    way = np.linspace(0.0, 10.0, 3000)
    force = np.polyval(coefficients, way / 10.0)

    behind_touch = GRID >= RISES_MM  # before that points are the samples' own means
    assert smoothed(a_branch(way, force), GRID, 0.15).force_newton[behind_touch] == pytest.approx(
        np.polyval(coefficients, GRID / 10.0)[behind_touch], abs=1e-4
    )


def test_a_point_of_the_curve_is_the_weighted_parabola_of_numpy() -> None:
    """numpy.polyfit with the square roots of the tricube weights minimises the same sum."""
    random = np.random.default_rng(5)
    way = GRID.copy()
    force = np.sin(way) + 0.1 * random.standard_normal(len(way))
    fitted = smoothed(a_branch(way, force), GRID, 0.15).force_newton
    for index in (300, 555, 800):
        off = way - GRID[index]
        weight = np.clip(1.0 - np.abs(off / 0.15) ** 3, 0.0, None) ** 1.5
        near = weight > 0
        by_numpy = np.polyfit(off[near], force[near], 2, w=weight[near])[-1]
        assert fitted[index] == pytest.approx(by_numpy, abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 1000), spacing_mm=st.floats(0.001, 0.05))
def test_every_point_is_the_weighted_parabola_through_the_bins_around_it(seed: int, spacing_mm: float) -> None:
    """Straight from the definition, point by point, and with the standard error of linear least squares, whose
    covariance is P S P^T for a value P y. Bins where the force jumps at touch do not count."""
    random, grid, half_width = np.random.default_rng(seed), np.arange(0.0, 2.0, 0.01), 0.12
    way = np.sort(random.uniform(-0.1, 2.1, round(2.2 / spacing_mm)))
    force = np.cos(3.0 * way) + 0.01 * random.standard_normal(len(way))
    smoother = smoother_of(way, grid, half_width)
    ours = smoother.smoothed(force)
    bins = np.rint(way / 0.01).astype(int)
    held = [n for n in np.unique(bins) if RISES_MM <= 0.01 * n < grid[-1] + 0.001]
    count = np.array([np.sum(bins == n) for n in held])
    place, mean = (np.array([np.mean(of[bins == n]) for n in held]) for of in (way, force))
    for index in np.flatnonzero(~smoother.gap & (grid >= RISES_MM))[::23]:
        off = (place - grid[index]) / half_width
        weight = np.clip(1.0 - np.abs(off) ** 3, 0.0, None) ** 3 * count
        design = np.vander(off, 3, increasing=True)
        row = (np.linalg.inv(design.T @ (weight[:, None] * design)) @ design.T * weight)[0]
        assert ours[index] == pytest.approx(float(row @ mean), abs=1e-9)
        assert smoother.factor[index] == pytest.approx(float(np.sqrt(np.sum(row**2 / count))), rel=1e-6)


def test_smoothing_of_a_straight_line_agrees_with_lowess() -> None:
    """statsmodels' lowess is local linear with the same tricube kernel; on a line with even noise both are unbiased."""
    from statsmodels.nonparametric.smoothers_lowess import lowess

    random = np.random.default_rng(6)
    way = np.arange(0.0, 10.0, 0.004)
    force = 0.5 + 0.01 * way + 0.003 * random.standard_normal(len(way))
    ours = smoothed(a_branch(way, force), GRID, 0.3)
    theirs = np.interp(GRID, *lowess(force, way, frac=150 / len(way), it=0).T)
    inside = (GRID > 0.5) & (GRID < 9.5)

    assert np.sqrt(np.mean((ours.force_newton - theirs)[inside] ** 2)) < 1.5 * np.median(ours.u_newton[inside])


def test_the_standard_error_is_what_repetition_shows() -> None:
    random = np.random.default_rng(7)
    way = np.arange(0.0, 4.0, 0.004)
    grid = np.arange(0.0, 4.0, 0.01)
    made = [smoothed(a_branch(way, 0.003 * random.standard_normal(len(way))), grid, 0.15) for _ in range(200)]
    scatter = np.std([one.force_newton for one in made], axis=0)[50:-50]
    stated = np.mean([one.u_newton for one in made], axis=0)[50:-50]

    assert np.median(stated / scatter) == pytest.approx(1.0, abs=0.1)


def test_uneven_speed_and_pauses_do_not_bend_the_curve() -> None:
    way = np.concatenate([np.linspace(0, 5, 400), np.full(3000, 5.0), np.linspace(5, 10, 4000)])
    even = smoothed(a_branch(way, 0.1 * way), GRID, 0.15)

    behind_touch = GRID >= RISES_MM
    assert even.force_newton[behind_touch] == pytest.approx(0.1 * GRID[behind_touch], abs=1e-6)


def test_a_jump_at_touch_does_not_ring_through_the_curve() -> None:
    """A parabola across the jump would be 5 % of it off at a kernel's half-width; kept out, the curve is flat there."""
    way = np.linspace(0.0, 10.0, 3000)

    curve = smoothed(a_branch(way, np.where(way < 0.005, 0.05, 0.5)), GRID, 0.15)

    assert curve.force_newton[0] < 0.4
    assert curve.force_newton[GRID >= RISES_MM] == pytest.approx(0.5, abs=1e-9)


def test_a_hole_is_drawn_across_and_marked() -> None:
    way = np.concatenate([np.arange(0.0, 4.0, 0.004), np.arange(5.0, 10.0, 0.004)])
    curve = smoothed(a_branch(way, 0.1 * way), GRID, 0.15)

    assert curve.gap[(GRID > 4.2) & (GRID < 4.8)].all()
    assert not curve.gap[(GRID < 3.9) | (GRID > 5.1)].any()
    assert curve.force_newton == pytest.approx(0.1 * GRID, abs=1e-3)


def test_sparse_samples_widen_the_kernel_and_it_says_so() -> None:
    way = np.arange(0.0, 10.0, 0.1)

    assert kernel_half_width_mm((a_stroke(way, way),), SETTINGS) == pytest.approx(0.4, rel=0.02)


def test_a_branch_without_samples_is_no_stroke() -> None:
    with pytest.raises(NoStroke):
        smoothed(a_branch(np.array([1.0, 2.0]), np.array([1.0, 1.0])), GRID, 0.15)


def test_the_mean_of_strokes_says_how_they_scatter() -> None:
    x = np.arange(0.0, 5.0, 0.01)
    curves = tuple(a_curve(x, np.full(len(x), level), u=1e-6) for level in (0.49, 0.50, 0.51))
    mean = mean_curve(curves)

    assert mean.down_newton == pytest.approx(0.50)
    assert mean.down_u_newton == pytest.approx(0.01 / np.sqrt(3.0))
    assert mean.strokes == 3


def test_a_curve_ends_where_it_is_told() -> None:
    way = np.linspace(0.0, 9.7, 2000)
    stroke = a_stroke(way, way)
    curve = to_curve(stroke, smoothers_of(stroke, half_width_mm=0.15, until_mm=9.0, settings=SETTINGS))

    assert curve.way_mm[-1] == pytest.approx(8.99)
    assert curve.up_newton is None
