"""From strokes to a curve: force over way on an even grid, with a standard error at every point.

How it works: the samples of a branch are gathered in bins of the grid's step (count, mean place, mean force); at every
grid point a parabola is fitted to the bins around it, weighted by a tricube kernel of stated half-width in mm and by
the bins' counts. The parabola's value is the curve, and the fit's covariance with the branch's own scatter gives the
standard error. Such a value is a sum over the bins; its shares (a matrix, a column per point) hang on the places of
the samples alone, so they are worked out once a branch and serve its force and its acceleration alike. Built on way,
not on time: pauses, uneven speed and repeated places do not matter.
Source: local quadratic regression, Cleveland & Devlin, J. Am. Stat. Assoc. 83:596 (1988), with a fixed width.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import uniform_filter1d

from processing.errors import NoStroke
from processing.selection import median
from processing.settings import CurveSettings
from processing.stages import BoolArray, Branch, Curve, FloatArray, Stroke

RISES_MM = 0.02
"""Over so much way the force may rise from touch to the key's weight. A parabola across the jump would ring for its
whole width, so it is kept out, and these points are the samples' own means."""
FAR_MM = 1e3
"""Where an empty bin is put: out of every kernel's reach."""
BETWEEN_WIDTH_MM = 1.0
"""The scatter between strokes is pooled over so much way: at one point three strokes say little."""


IntArray = np.ndarray[tuple[int], np.dtype[np.intp]]


@dataclass(frozen=True, slots=True, eq=False)
class Smoother:
    """What brings anything sampled along one branch onto a grid of G points: made once, used for force and motion."""

    grid_mm: FloatArray
    half_width_mm: float
    bins: IntArray
    """The grid point nearest to each sample, counted from 1; 0 and G + 1: it lies beyond the grid."""
    filled: FloatArray
    """Samples in each bin, (G,); 1 for an empty one."""
    shares: FloatArray
    """How much the mean of each bin in reach counts at each point, (W, G)."""
    factor: FloatArray
    """Standard error at each point per unit standard deviation of one sample, (G,)."""
    gap: BoolArray
    """Where there were no samples near, (G,)."""
    told: BoolArray
    """Where the mean of the point's own samples is its value, (G,)."""

    def smoothed(self, values: FloatArray) -> FloatArray:
        """Return values, one per sample, on the grid; straight across gaps, so that a curve is finite everywhere."""
        means = _by_bins(self.bins, len(self.grid_mm), values) / self.filled
        fitted: FloatArray = np.einsum("wg,wg->g", self.shares, _shifted(means, len(self.shares) // 2, 0.0))
        known = ~self.gap
        if not known.all() and known.any():
            fitted = np.interp(self.grid_mm, self.grid_mm[known], fitted[known])
        return np.where(self.told, means, fitted)


@dataclass(frozen=True, slots=True, eq=False)
class SmoothBranch:
    """One branch on the grid: force, its standard error, where there is a gap, degrees of freedom of its scatter."""

    force_newton: FloatArray
    u_newton: FloatArray
    gap: BoolArray
    dof: float


def kernel_half_width_mm(strokes: tuple[Stroke, ...], settings: CurveSettings) -> float:
    """Return the half-width for all curves of a key: as set, or wider where the strokes were sampled sparsely.

    Raises NoStroke where they were sampled so sparsely that no feature of a key could be seen.
    """
    spacing = max(_spacing_mm(stroke.down.way_mm, settings.step_mm) for stroke in strokes)
    if spacing > settings.widest_spacing_mm:
        raise NoStroke(f"samples lie {spacing:.1f} mm apart on the way down; record faster or press more slowly")
    return max(settings.half_width_mm, 0.5 * settings.fewest_samples * spacing)


def _spacing_mm(way: FloatArray, step_mm: float) -> float:
    """Return the typical distance between places that were sampled; many samples at one place are one place."""
    if not len(way):
        return 0.0
    bins = np.rint(way / step_mm).astype(np.intp)
    places = np.count_nonzero(np.bincount(bins - bins.min()))
    return float((way.max() - way.min()) / max(places - 1, 1))


def smoothers_of(
    stroke: Stroke, *, half_width_mm: float, until_mm: float, settings: CurveSettings
) -> tuple[Smoother, Smoother | None]:
    """Return what smooths the way down and the way up of a stroke, from touch to until_mm; None: it has no way up."""
    grid = np.arange(0.0, until_mm, settings.step_mm)
    return (
        smoother_of(stroke.down.way_mm, grid, half_width_mm),
        smoother_of(stroke.up.way_mm, grid, half_width_mm) if stroke.up is not None else None,
    )


def to_curve(stroke: Stroke, smoothers: tuple[Smoother, Smoother | None]) -> Curve:
    """Return the curve of one stroke, given its smoothers."""
    by_down, by_up = smoothers
    down = smooth(stroke.down, by_down)
    up = smooth(stroke.up, by_up) if stroke.up is not None and by_up is not None else None
    return Curve(
        by_down.grid_mm.copy(),
        down.force_newton,
        up.force_newton if up else None,
        down.u_newton,
        up.u_newton if up else None,
        by_down.half_width_mm,
        down.gap | up.gap if up else down.gap,
        strokes=1,
        noise_dof=down.dof,
    )


def common_length_mm(strokes: tuple[Stroke, ...]) -> float:
    """Return how far all strokes reach; the grid of a key's curves ends there."""
    return min(stroke.travel_mm for stroke in strokes)


def mean_curve(curves: tuple[Curve, ...]) -> Curve:
    """Return the mean over a key's strokes; its standard error is the larger of noise and scatter between strokes."""
    down, down_u = _mean([curve.down_newton for curve in curves], [curve.down_u_newton for curve in curves], curves[0])
    ups = [curve for curve in curves if curve.up_newton is not None]
    up = up_u = None
    if ups:
        up, up_u = _mean(
            [curve.up_newton for curve in ups if curve.up_newton is not None],
            [curve.up_u_newton for curve in ups if curve.up_u_newton is not None],
            curves[0],
        )
    return Curve(
        curves[0].way_mm.copy(),
        down,
        up,
        down_u,
        up_u,
        curves[0].half_width_mm,
        np.logical_and.reduce([curve.gap for curve in curves]),
        strokes=len(curves),
        noise_dof=sum(curve.noise_dof for curve in curves),
    )


def _mean(forces: list[FloatArray], errors: list[FloatArray], grid: Curve) -> tuple[FloatArray, FloatArray]:
    count = len(forces)
    noise = np.sqrt(np.sum(np.square(errors), axis=0)) / count
    if count == 1:
        return forces[0].copy(), noise
    width = max(1, round(BETWEEN_WIDTH_MM / grid.step_mm))
    pooled = uniform_filter1d(np.var(forces, axis=0, ddof=1), width, mode="nearest")
    between = np.sqrt(np.clip(pooled, 0.0, None) / count)  # a running sum can end a hair below zero
    return np.mean(forces, axis=0), np.maximum(noise, between)


def smooth(branch: Branch, smoother: Smoother) -> SmoothBranch:
    """Return the force of a branch on the grid of its smoother, with its standard error."""
    fitted = smoother.smoothed(branch.force_newton)
    sigma, dof = _scatter(branch, smoother.grid_mm, fitted)
    return SmoothBranch(fitted, sigma * smoother.factor, smoother.gap.copy(), dof)


def smoother_of(way_mm: FloatArray, grid: FloatArray, half_width_mm: float) -> Smoother:
    """Return what smooths anything that was sampled at some places, shape (N,), onto an even grid, shape (G,).

    Raises NoStroke if there are hardly any samples.
    """
    step = float(grid[1] - grid[0])
    nearest = np.rint(way_mm / step)
    nearest += 1.0
    bins = np.clip(nearest, 0.0, len(grid) + 1.0, out=nearest).astype(np.intp)
    count = _by_bins(bins, len(grid))
    if np.count_nonzero(count) < 8:
        raise NoStroke(f"one way of the stroke has only {len(way_mm)} samples")
    filled = np.maximum(count, 1.0)
    at_touch = grid < RISES_MM
    told = at_touch & (count > 0.0)
    if not told.all() and np.count_nonzero(count[~at_touch]) >= 8:
        count = np.where(at_touch, 0.0, count)
    place = np.where(count > 0.0, _by_bins(bins, len(grid), way_mm) / filled, FAR_MM)
    reach = max(2, int(np.ceil(half_width_mm / step)))
    off = _shifted(place, reach, FAR_MM) - grid
    off /= half_width_mm
    kernel, near = _tricube(off)
    weight = kernel * _shifted(count, reach, 0.0)
    enough = np.count_nonzero(kernel > 0.05, axis=0) >= 4
    parabola = _parabola_at_centre(off, weight)
    shares = np.multiply(weight, parabola, out=weight)
    kernel *= parabola
    # the mean of a bin of c samples scatters by 1 / sqrt(c), so the shares' squares over c are its part of the variance
    factor = np.sqrt(np.einsum("wg,wg->g", shares, kernel))
    shares *= enough
    return Smoother(grid, half_width_mm, bins, filled, shares, np.where(enough, factor, 1.0), ~enough | ~near, told)


def _by_bins(bins: IntArray, points: int, values: FloatArray | None = None) -> FloatArray:
    """Return the sum of the values of the samples nearest to each grid point, or how many these are, shape (G,)."""
    return np.bincount(bins, values, points + 2)[1:-1].astype(np.float64)


def _shifted(array: FloatArray, reach: int, beyond: float) -> FloatArray:
    """Return the array shifted by -reach .. reach points, a row each, shape (2 reach + 1, G); a view."""
    return sliding_window_view(np.pad(array, reach, constant_values=beyond), len(array))


def _tricube(off: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the kernel (1 - |off|^3)^3, 0 beyond 1, shape (W, G), and at which points something lies within a half.

    In place: passing arrays of this size cost more than their arithmetic. Numpy's own powers go by logarithms.
    """
    distance = np.abs(off)
    near: BoolArray = np.logical_or.reduce(distance <= 0.5, axis=0)
    base = distance * distance
    base *= distance
    np.subtract(1.0, base, out=base)
    np.maximum(base, 0.0, out=base)
    kernel = np.multiply(base, base, out=distance)
    kernel *= base
    return kernel, near


def _parabola_at_centre(off: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the parabola with which the weighted values must be multiplied and summed to give, at off = 0, the value
    of the weighted least-squares parabola through them; shape (W, G), 0 where there is no such parabola.

    off, weight: (W, G), a column per grid point. The normal equations are 3 x 3; only the first row of their inverse is
    needed, and that is written out.
    """
    s, product = [], weight.copy()
    for _ in range(4):
        s.append(product.sum(axis=0))
        product *= off
    s.append(product.sum(axis=0))
    first_row = np.array([s[2] * s[4] - s[3] ** 2, s[2] * s[3] - s[1] * s[4], s[1] * s[3] - s[2] ** 2])
    determinant = first_row[0] * s[0] + first_row[1] * s[1] + first_row[2] * s[2]
    first_row /= np.where(determinant > 1e-12, determinant, np.inf)
    parabola: FloatArray = np.multiply(first_row[2], off, out=product)
    parabola += first_row[1]
    parabola *= off
    parabola += first_row[0]
    return parabola


def _scatter(branch: Branch, grid: FloatArray, fitted: FloatArray) -> tuple[float, float]:
    """Return the samples' robust standard deviation about the curve, widened if neighbours err alike, and its dof."""
    inside = (branch.way_mm >= 0.0) & (branch.way_mm <= grid[-1])
    residual = branch.force_newton[inside] - np.interp(branch.way_mm[inside], grid, fitted)
    sigma = 1.4826 * median(np.abs(residual))
    scaled = np.clip(residual / sigma, -4.0, 4.0) if sigma > 0 else residual
    lags = [lag for lag in range(1, 9) if lag < len(scaled)]
    alike = [float(np.einsum("n,n->", scaled[lag:], scaled[:-lag])) / (len(scaled) - lag) for lag in lags]
    widened = max(1.0, 1.0 + 2.0 * sum(alike))
    return sigma * float(np.sqrt(widened)), max(1.0, len(residual) / widened - 3.0)
