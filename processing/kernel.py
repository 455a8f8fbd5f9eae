"""What the local parabola of `curve.py` amounts to on an even grid: a kernel that leaves parabolas alone."""

from __future__ import annotations

import numpy as np

from processing.stages import Curve, FloatArray


def equivalent_kernel(curve: Curve) -> FloatArray:
    """Return what the local parabola amounts to on a curve's grid: a kernel of sum one."""
    return kernel_on_grid(curve.half_width_mm, curve.step_mm)


def kernel_on_grid(half_width_mm: float, step_mm: float) -> FloatArray:
    """Return that kernel for an even grid of this step."""
    reach = max(2, int(np.ceil(half_width_mm / step_mm)))
    places = np.arange(-reach, reach + 1, dtype=np.float64)
    return kernel_at(places * (step_mm / half_width_mm))


def kernel_at(off: FloatArray) -> FloatArray:
    """Return that kernel at even places, given as shares of its half-width; it sums to one."""
    tricube = np.clip(1.0 - np.abs(off) ** 3, 0.0, None) ** 3
    s2, s4 = np.sum(tricube * off**2), np.sum(tricube * off**4)
    kernel = tricube * (s4 - s2 * off**2)
    even: FloatArray = kernel / np.sum(kernel)
    return even
