"""What setting the key in motion has to do with the force, taken out of the curves: F(x) - m a(x).

How it works: the plunger's acceleration follows from its way in time, by local parabolas, and is brought onto the grid
of the curves as the force is. Strokes of one key differ in acceleration at the same place but not in their quasi-static
force, so the slope of one difference on the other is the key's effective mass. A motor repeats its own wobble and shows
no differences; then the mass is only known to lie between nothing and that of the heaviest key. Both are combined.
Within half a parabola of the turn, where the parabola would reach across it, the acceleration is taken as nothing.
Fast samples are averaged by a few first: a parabola of 40 ms does not see the difference.
Source: F = m a; the local parabola is that of Savitzky & Golay, Anal. Chem. 36:1627 (1964), by scipy.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import savgol_filter

from processing.curve import Smoother
from processing.selection import median
from processing.stages import Branch, CalibratedTrace, Curve, FloatArray, Stroke

OVER_S = 0.04
"""Length of the parabola: under half a period of the fastest tremor (12 Hz), long enough to quiet the gauge."""
HEAVIEST_KEY_KG = 0.35
"""Effective mass of a heavy bass key at its front."""
POINTS = 40
"""A parabola through so many means of neighbouring samples is nearly as quiet as one through the samples, and on a
trace of 5 kHz it takes a hundredth of the work."""
MANY = 4096
"""So many steps tell the typical one."""
PRIOR_KG, PRIOR_U_KG = HEAVIEST_KEY_KG / 2.0, HEAVIEST_KEY_KG / np.sqrt(12.0)
"""Anything between nothing and the heaviest: rectangular (GUM 4.3.7)."""
CLEAR_OF_NOISE = 3.0
"""Differences in acceleration tell of the mass if they are so many times the gauge's noise, else of that noise."""
FROM_MM = 1.0
"""Nearer to touch the key does not move with the plunger yet."""
MM_PER_M = 1000.0


@dataclass(frozen=True, slots=True)
class Mass:
    """The key's effective mass as far as this recording tells."""

    kg: float
    u_kg: float


@dataclass(frozen=True, slots=True, eq=False)
class Accelerations:
    """Of one stroke on the grid of its curve, m/s2, arrays (G,); up is None if the key was not let up."""

    down: FloatArray
    up: FloatArray | None


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Acceleration of the plunger tip in time: m/s2, arrays (N,), and the standard deviation of its noise."""

    time_s: FloatArray
    m_per_s2: FloatArray
    noise_m_per_s2: float
    half_s: float


def motion_of(trace: CalibratedTrace) -> Motion:
    """Return how the plunger tip is accelerated; nothing, where there are too few samples to tell."""
    steps_s = np.diff(trace.time_s)
    period_s = median(steps_s[:: max(1, len(steps_s) // MANY)]) if len(steps_s) else 0.0
    count = int(OVER_S / period_s) | 1 if period_s > 0.0 else 0
    if count < 5 or count > len(trace.time_s):
        return Motion(trace.time_s, np.zeros(len(trace.time_s)), np.inf, 0.0)
    place_noise_mm = np.hypot(trace.displacement_noise_mm, trace.displacement_step_mm / np.sqrt(12.0))
    noise = place_noise_mm / MM_PER_M * np.sqrt(720.0 / count**5) / period_s**2
    together = max(1, count // POINTS)
    time_s = _means(trace.time_s, together)
    tip_mm = _means(trace.displacement_mm - trace.give_mm(trace.force_newton), together)
    step_s = together * period_s
    bent = savgol_filter(tip_mm, int(OVER_S / step_s) | 1, 2, deriv=2, delta=step_s) / MM_PER_M
    return Motion(time_s, bent, float(noise), count * period_s / 2.0)


def _means(values: FloatArray, together: int) -> FloatArray:
    """Return the means of so many values at a time; those left over at the end are left out."""
    if together == 1:
        return values
    whole = len(values) // together * together
    sums = values[0:whole:together].copy()
    for nth in range(1, together):
        sums += values[nth:whole:together]
    means: FloatArray = sums / together
    return means


def accelerations(stroke: Stroke, motion: Motion, smoothers: tuple[Smoother, Smoother | None]) -> Accelerations:
    """Return the acceleration of a stroke on the grid of its curve, as smooth as its force."""

    def on_grid(branch: Branch, smoother: Smoother, turn_s: float) -> FloatArray:
        here = np.interp(branch.time_s, motion.time_s, motion.m_per_s2)
        return smoother.smoothed(np.where(np.abs(branch.time_s - turn_s) < motion.half_s, 0.0, here))

    by_down, by_up = smoothers
    up = None
    if stroke.up is not None and by_up is not None:
        up = on_grid(stroke.up, by_up, float(stroke.up.time_s[0]))
    return Accelerations(on_grid(stroke.down, by_down, float(stroke.down.time_s[-1])), up)


def mass_of(curves: tuple[Curve, ...], moved: tuple[Accelerations, ...], noise_m_per_s2: float) -> Mass:
    """Return the effective mass: what the strokes' differences say, weighed with what any key may weigh."""
    inside = curves[0].way_mm >= FROM_MM
    force = [_off_mean([curve.down_newton[inside] for curve in curves])]
    bent = [_off_mean([one.down[inside] for one in moved])]
    ups = [(curve.up_newton, one.up) for curve, one in zip(curves, moved, strict=True)]
    if all(newton is not None and m_per_s2 is not None for newton, m_per_s2 in ups):
        force.append(_off_mean([newton[inside] for newton, _ in ups if newton is not None]))
        bent.append(_off_mean([m_per_s2[inside] for _, m_per_s2 in ups if m_per_s2 is not None]))
    said = _slope(np.concatenate(force), np.concatenate(bent), curves[0], noise_m_per_s2)
    if said is None:
        return Mass(PRIOR_KG, PRIOR_U_KG)
    weights = said.u_kg**-2.0, PRIOR_U_KG**-2.0
    kg = (weights[0] * said.kg + weights[1] * PRIOR_KG) / sum(weights)
    return Mass(min(max(kg, 0.0), HEAVIEST_KEY_KG), float(sum(weights) ** -0.5))


def _off_mean(rows: list[FloatArray]) -> FloatArray:
    """Return each row less the mean of all, one after the other."""
    return np.ravel(np.array(rows) - np.mean(rows, axis=0))


def _slope(force: FloatArray, bent: FloatArray, curve: Curve, noise_m_per_s2: float) -> Mass | None:
    """Return the slope of force on acceleration, None if the accelerations hardly differ.

    Points within a kernel err alike, so only one in each kernel counts as a degree of freedom.
    """
    size = float(np.sum(bent**2))
    if not len(bent) or size <= len(bent) * (CLEAR_OF_NOISE * noise_m_per_s2) ** 2:
        return None
    kg = float(np.sum(force * bent)) / size
    alike = max(1.0, 2.0 * curve.half_width_mm / curve.step_mm)
    free = max(1.0, len(bent) / alike - 1.0)
    return Mass(kg, float(np.sqrt(np.sum((force - kg * bent) ** 2) / free / size)))


def without_inertia(curve: Curve, moved: Accelerations, kg: float) -> Curve:
    """Return the curve less what accelerating a mass takes."""
    up = curve.up_newton if curve.up_newton is None or moved.up is None else curve.up_newton - kg * moved.up
    return replace(curve, down_newton=curve.down_newton - kg * moved.down, up_newton=up)
