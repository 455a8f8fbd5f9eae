"""Small lines through a curve: where it passes a level, its slope, and where it turns."""

from __future__ import annotations

import numpy as np

from processing.selection import mean
from processing.stages import FloatArray


def crossing_mm(way: FloatArray, force: FloatArray, after: int, level: float) -> float:
    """Return where the force passes a level between the points after - 1 and after, linearly."""
    low, high = force[after - 1], force[after]
    share = min(max((level - low) / (high - low), 0.0), 1.0) if high != low else 1.0
    return float(way[after - 1] + share * (way[after] - way[after - 1]))


def extreme_mm(force: FloatArray, index: int, step_mm: float) -> float:
    """Return the place of a point of an even grid, in mm; a local maximum is refined by its parabola."""
    if 0 < index < len(force) - 1:
        left, middle, right = force[index - 1 : index + 2].tolist()
        bend = left - 2.0 * middle + right
        if bend < 0.0 and middle >= max(left, right):
            return float(index * step_mm + 0.5 * step_mm * (left - right) / bend)
    return float(index * step_mm)


def slope_of(way: FloatArray, force: FloatArray) -> float:
    """Return the slope of the straight line of least squares."""
    off = way - mean(way)
    return float(np.einsum("n,n->", off, force) / np.einsum("n,n->", off, off))
