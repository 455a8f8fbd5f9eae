"""How sure a number is by its own evidence: from repeated strokes, and from the curve's own noise.

How it works: the scatter of a number over single strokes gives its type A line, s / sqrt(n). Drawing the mean curve's
noise anew and measuring again gives the line that noise alone accounts for, extremes and thresholds included. What is
known about the rig is added in `budget/sources.py`, and all lines are combined in `budget/propagation.py`.
Sources: GUM (JCGM 100:2008) 4.2; drawing noise anew: JCGM 101:2008.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from processing.budget.lines import Line
from processing.budget.sources import NOISE, STROKES
from processing.settings import UncertaintySettings
from processing.stages import Curve, FloatArray


def strokes_line(values: list[float], unit: str) -> Line | None:
    """Return the type A line of the mean of single-stroke values, s / sqrt(n); None if there are fewer than two."""
    if len(values) < 2:
        return None
    u = float(np.std(values, ddof=1) / np.sqrt(len(values)))
    return Line(name=STROKES, kind="A", distribution="t", u=u, unit=unit, dof=len(values) - 1.0)


def noise_line(values: list[float], value: float, unit: str) -> Line:
    """Return what noise does to a number: how it scatters and, where an extreme is picked, how far it leans.

    values: of copies with the noise drawn anew; value: of the curve as it is.
    """
    u, dof = 0.0, 1.0
    if len(values) >= 2:
        u, dof = float(np.hypot(np.std(values, ddof=1), np.mean(values) - value)), len(values) - 1.0
    return Line(name=NOISE, kind="A", distribution="t", u=u, unit=unit, dof=dof)


def noisy_copies(curve: Curve, settings: UncertaintySettings) -> Iterator[Curve]:
    """Yield the curve with its noise drawn anew, as smooth as the kernel makes it; seeded, so always the same."""
    random = np.random.default_rng(settings.seed)
    kernel = _noise_kernel(curve)
    for _ in range(settings.noise_draws):
        down = curve.down_newton + curve.down_u_newton * _smooth_noise(random, kernel, len(curve.way_mm))
        up = curve.up_newton
        if up is not None and curve.up_u_newton is not None:
            up = up + curve.up_u_newton * _smooth_noise(random, kernel, len(curve.way_mm))
        yield replace(curve, down_newton=down, up_newton=up)


def _noise_kernel(curve: Curve) -> FloatArray:
    """Return the equivalent kernel of the local parabola, scaled so that filtered white noise has variance one."""
    reach = max(2, int(np.ceil(curve.half_width_mm / curve.step_mm)))
    off = np.arange(-reach, reach + 1) / reach
    tricube = (1.0 - np.abs(off) ** 3) ** 3
    s2, s4 = np.sum(tricube * off**2), np.sum(tricube * off**4)
    kernel = tricube * (s4 - s2 * off**2)
    scaled: FloatArray = kernel / np.sqrt(np.sum(kernel**2))
    return scaled


def _smooth_noise(random: np.random.Generator, kernel: FloatArray, count: int) -> FloatArray:
    noise: FloatArray = np.convolve(random.standard_normal(count + len(kernel) - 1), kernel, mode="valid")
    return noise
