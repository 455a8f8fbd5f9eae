"""How sure a number is: from repeated strokes, from the curve's own noise, and from what is known about the rig.

How it works: the scatter of a number over single strokes gives its type A part, s / sqrt(n). Drawing the mean curve's
noise anew and measuring again gives the part that noise alone accounts for, extremes and thresholds included. Zero,
resolution and latency are added as type B parts. Parts are combined as the root of the sum of squares, degrees of
freedom by Welch-Satterthwaite, the coverage factor from Student's t.
Sources: GUM (JCGM 100:2008) 4.2, 4.3, 5.1.2, G.4; drawing noise anew: JCGM 101:2008.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.stats import t as student_t

from processing.settings import UncertaintySettings
from processing.stages import Curve, FloatArray

MOST_DOF = 1e6
"""More degrees of freedom than this change no digit of a coverage factor."""


@dataclass(frozen=True, slots=True)
class Part:
    """One contribution: standard uncertainty and how many degrees of freedom stand behind it."""

    u: float
    dof: float


def from_strokes(values: list[float]) -> Part | None:
    """Return the type A part of the mean of single-stroke values, None if there are fewer than two."""
    if len(values) < 2:
        return None
    return Part(float(np.std(values, ddof=1) / np.sqrt(len(values))), len(values) - 1.0)


def combine(parts: list[Part]) -> Part:
    """Return the combined standard uncertainty and its effective degrees of freedom (GUM G.4.1).

    >>> combine([Part(3.0, 4.0), Part(4.0, 4.0)]).u
    5.0
    """
    variance = sum(part.u**2 for part in parts)
    weighted = sum(part.u**4 / part.dof for part in parts)
    return Part(float(np.sqrt(variance)), min(MOST_DOF, variance**2 / weighted) if weighted > 0 else MOST_DOF)


@cache
def _t_factor(whole_dof: int, coverage: float) -> float:
    return float(student_t.ppf(0.5 + coverage / 2.0, whole_dof))


def coverage_factor(dof: float, coverage: float) -> float:
    """Return Student's t for a two-sided interval; degrees of freedom are cut to a whole number first (GUM G.4.1)."""
    return _t_factor(max(1, int(dof)), coverage)


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
