"""From strokes to a curve: force over way on an even grid, with a standard error at every point.

How it works: the samples of a branch are gathered in bins of the grid's step (count, mean place, mean force); at every
grid point a parabola is fitted to the bins around it, weighted by a tricube kernel of stated half-width in mm and by
the bins' counts. The parabola's value is the curve, and the fit's covariance with the branch's own scatter gives the
standard error. Built on way, not on time: pauses, uneven speed and repeated places do not matter.
Source: local quadratic regression, Cleveland & Devlin, J. Am. Stat. Assoc. 83:596 (1988), with a fixed width.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import uniform_filter1d

from processing.errors import NoStroke
from processing.settings import CurveSettings
from processing.stages import BoolArray, Branch, Curve, FloatArray, Stroke

RISES_MM = 0.02
"""Over so much way the force may rise from touch to the key's weight. A parabola across the jump would ring for its
whole width, so it is kept out, and these points are the samples' own means."""
BETWEEN_WIDTH_MM = 1.0
"""The scatter between strokes is pooled over so much way: at one point three strokes say little."""


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
    places = len(np.unique(np.rint(way / step_mm)))
    return float((way.max() - way.min()) / max(places - 1, 1)) if len(way) else 0.0


def to_curve(stroke: Stroke, *, half_width_mm: float, until_mm: float, settings: CurveSettings) -> Curve:
    """Return the curve of one stroke from touch to until_mm."""
    grid = np.arange(0.0, until_mm, settings.step_mm)
    down = smooth(stroke.down, grid, half_width_mm)
    up = smooth(stroke.up, grid, half_width_mm) if stroke.up is not None else None
    return Curve(
        grid,
        down.force_newton,
        up.force_newton if up else None,
        down.u_newton,
        up.u_newton if up else None,
        half_width_mm,
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


def smooth(branch: Branch, grid: FloatArray, half_width_mm: float) -> SmoothBranch:
    """Return a branch on an even grid by local quadratic regression.

    Raises NoStroke if the branch has hardly any samples.
    """
    step = float(grid[1] - grid[0])
    count, place, force = _bins(branch, grid, step)
    if np.count_nonzero(count) < 8:
        raise NoStroke(f"one way of the stroke has only {len(branch.way_mm)} samples")
    at_touch = grid < RISES_MM
    told, as_read = at_touch & (count > 0), force
    if not told.all() and np.count_nonzero(count[~at_touch]) >= 8:
        count = np.where(at_touch, 0.0, count)
    reach = max(2, int(np.ceil(half_width_mm / step)))
    counts, places, forces = (
        sliding_window_view(np.pad(array, reach), 2 * reach + 1) for array in (count, place, force)
    )
    off = (places - grid[:, None]) / half_width_mm
    kernel = np.where(counts > 0, np.clip(1.0 - np.abs(off) ** 3, 0.0, None) ** 3, 0.0)
    value, factor = _parabola_at_centre(off, kernel, counts, forces)
    enough = (kernel > 0.05).sum(axis=1) >= 4
    gap = ~enough | (np.where(kernel > 0, np.abs(off), np.inf).min(axis=1) > 0.5)
    fitted = np.where(told, as_read, _across_gaps(grid, np.where(enough, value, 0.0), gap))
    sigma, dof = _scatter(branch, grid, fitted)
    return SmoothBranch(fitted, sigma * np.where(enough, factor, 1.0), gap, dof)


def _parabola_at_centre(
    off: FloatArray, kernel: FloatArray, counts: FloatArray, forces: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the value at off = 0 of the weighted least-squares parabola of each row, and its standard error per unit
    standard deviation of one sample.

    off, kernel, counts, forces: (G, W), a row per grid point. The normal equations are 3 x 3; only the first row of
    their inverse is needed, and that is written out.
    """
    weight = kernel * counts
    s = _moments(weight, off, 5)
    t = _moments(weight * forces, off, 3)
    k = _moments(kernel * weight, off, 5)
    first_row = np.array([s[2] * s[4] - s[3] ** 2, s[2] * s[3] - s[1] * s[4], s[1] * s[3] - s[2] ** 2])
    determinant = (first_row * s[:3]).sum(axis=0)
    first_row /= np.where(determinant > 1e-12, determinant, np.inf)
    variance = sum(first_row[i] * first_row[j] * k[i + j] for i in range(3) for j in range(3))
    return (first_row * t).sum(axis=0), np.sqrt(np.clip(variance, 0.0, None))


def _moments(weight: FloatArray, off: FloatArray, count: int) -> FloatArray:
    """Return the sums of weight * off^p for p = 0 .. count - 1, shape (count, G)."""
    sums, product = [], weight
    for _ in range(count):
        sums.append(product.sum(axis=1))
        product = product * off
    return np.array(sums)


def _bins(branch: Branch, grid: FloatArray, step: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return count, mean place and mean force of the samples around each grid point, arrays (G,)."""
    index = np.rint(branch.way_mm / step).astype(np.intp)
    inside = (index >= 0) & (index < len(grid))
    index = index[inside]
    count = np.bincount(index, minlength=len(grid)).astype(np.float64)
    filled = np.maximum(count, 1.0)
    place = np.bincount(index, branch.way_mm[inside], len(grid)) / filled
    force = np.bincount(index, branch.force_newton[inside], len(grid)) / filled
    return count, place, force


def _across_gaps(grid: FloatArray, fitted: FloatArray, gap: BoolArray) -> FloatArray:
    """Draw straight across gaps, so that a curve is finite everywhere; the mask says where not to believe it."""
    return np.interp(grid, grid[~gap], fitted[~gap]) if gap.any() and not gap.all() else fitted


def _scatter(branch: Branch, grid: FloatArray, fitted: FloatArray) -> tuple[float, float]:
    """Return the samples' robust standard deviation about the curve, widened if neighbours err alike, and its dof."""
    inside = (branch.way_mm >= 0.0) & (branch.way_mm <= grid[-1])
    residual = branch.force_newton[inside] - np.interp(branch.way_mm[inside], grid, fitted)
    sigma = 1.4826 * float(np.median(np.abs(residual)))
    scaled = np.clip(residual / sigma, -4.0, 4.0) if sigma > 0 else residual
    alike = [float(np.mean(scaled[lag:] * scaled[:-lag])) for lag in range(1, 9) if len(scaled) > lag]
    widened = max(1.0, 1.0 + 2.0 * sum(alike))
    return sigma * float(np.sqrt(widened)), max(1.0, len(residual) / widened - 3.0)
