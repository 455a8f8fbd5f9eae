"""How far smoothing moves the top of a lopsided peak, so that it can be moved back.

How it works: a peak that falls more steeply than it rises has a jump of curvature at its top. A kernel that leaves
parabolas alone averages over that jump, and the top of the smoothed curve lies on the flatter side. For two half
parabolas of curvature a on the left and r a on the right the smoothed top is at s, where
s + (r - 1) G(s) = 0 with G(s) = integral of K(u) (s - u) over u < s, K the kernel. Only r is asked of the curve: the
square of the ratio of the widths at half of the height, where the flanks are steep and smoothing does little.
Source: derivative of a convolution, written out; the kernel is that of `kernel.py`.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from processing.kernel import kernel_at
from processing.stages import Curve, FloatArray

OF_THE_HEIGHT = 0.5
"""Where the widths are taken: of a raised cosine the steepest place, so the least moved by noise."""
STEEPEST_RATIO = 100.0
"""A flank ten times as wide as the other is a jump; the shift has come to its end by then."""
LEFT_SHARE = 0.04
"""Of the kernel's half-width: what is left of the shift at most, for raised cosines of 0.75 to 1.45 mm of rise and 0.35
to 0.60 mm of fall, whose tops are no parabolas, on slopes up to 0.02 N/mm (a test reckons it)."""


def top_shift_mm(curve: Curve, peak: int, height_newton: float) -> float:
    """Return how far the kernel has moved the top of a peak, mm, downward positive; subtract it.

    peak: index of the top; height_newton: the lesser of its rise and its fall. Nothing where a flank is not seen.
    """
    force = curve.down_newton
    level = float(force[peak] - OF_THE_HEIGHT * height_newton)
    before, after = np.flatnonzero(force[:peak] <= level), np.flatnonzero(force[peak:] <= level)
    if height_newton <= 0.0 or not len(before) or not len(after):
        return 0.0
    left = peak - _crossing(force, int(before[-1]), int(before[-1]) + 1, level)
    right = _crossing(force, peak + int(after[0]), peak + int(after[0]) - 1, level) - peak
    return curve.half_width_mm * _shift_share((left / right) ** 2)


def _crossing(force: FloatArray, below: int, above: int, level: float) -> float:
    """Return the place, in points, where the force passes a level between two neighbours."""
    low, high = float(force[below]), float(force[above])
    return below + (above - below) * ((level - low) / (high - low) if high > low else 0.0)


def _shift_share(ratio: float) -> float:
    """Return the shift as a share of the kernel's half-width; ratio: curvature on the right over that on the left."""
    ratios, shifts = _table()
    steep = max(ratio, 1.0 / ratio) if ratio > 0.0 else STEEPEST_RATIO
    size = float(np.interp(steep, ratios, shifts))
    return -size if ratio > 1.0 else size


@cache
def _table() -> tuple[FloatArray, FloatArray]:
    """Return curvature ratios from 1 up and the size of the shift that belongs to each."""
    u = np.linspace(-1.0, 1.0, 4001)
    kernel = kernel_at(u)
    shifts = np.linspace(0.0, 0.3, 601)
    to_the_left = np.array([np.sum(kernel * np.clip(-shift - u, 0.0, None)) for shift in shifts])
    ratios = 1.0 + shifts / np.where(to_the_left > 0.0, to_the_left, np.inf)
    rises = np.concatenate([[True], np.diff(np.maximum.accumulate(ratios)) > 0.0]) & (ratios < STEEPEST_RATIO)
    return ratios[rises], shifts[rises]
