"""Straight lines: where one passes a level, and the slope of the one that fits best."""

from __future__ import annotations

import numpy as np

from processing.selection import mean
from processing.stages import FloatArray


def crossing_mm(way: FloatArray, force: FloatArray, after: int, level: float) -> float:
    """Return where the force passes a level between the points after - 1 and after, linearly."""
    low, high = force[after - 1], force[after]
    share = min(max((level - low) / (high - low), 0.0), 1.0) if high != low else 1.0
    return float(way[after - 1] + share * (way[after] - way[after - 1]))


def slope_of(way: FloatArray, force: FloatArray) -> float:
    """Return the slope of the straight line of least squares."""
    off = way - mean(way)
    return float(np.einsum("n,n->", off, force) / np.einsum("n,n->", off, off))
