"""By how much the force channel comes later than the displacement channel.

How it works: on an elastic reference force and displacement go the same way down and up. A force that is late by tau
shows, at one place, k v tau too little on the way down and as much too much on the way up; so up less down, over the
stiffness, is 2 v tau. Play and friction of the reference open the loop too, but alike at every speed: the slope of
(up - down) / (2 k) against speed is tau, its intercept is theirs. At least two speeds are needed.
Damping (rubber, felt) opens the loop with speed as a delay does and cannot be told from it: take a steel spring.
Source: closed form for F(t) = k x(t - tau) at constant speed, exact for a linear spring; line: GUM H.3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from processing.calibration.errors import TooFewReadings
from processing.calibration.fit import fit_polynomial, in_powers
from processing.calibration.settings import SkewSettings
from processing.stages import FloatArray

FEWEST_SAMPLES = 6
"""On each way in the window: a parabola and three to spare."""


@dataclass(frozen=True, slots=True)
class Loop:
    """What one stroke down and up shows in the middle of its way."""

    speed_mm_per_s: float
    """Mean of both ways, positive."""
    width_newton: float
    """Force on the way up less force on the way down, at the same place."""
    stiffness_newton_per_mm: float

    @property
    def half_way_mm(self) -> float:
        """Half of the loop's width along the way: speed times delay, for a reference without friction."""
        return self.width_newton / (2.0 * self.stiffness_newton_per_mm)


@dataclass(frozen=True, slots=True)
class Skew:
    """Delay of the force against the displacement; positive: the force comes later."""

    delay_s: float
    u_s: float
    dof: int
    friction_newton: float
    """Half of the loop that stays at no speed (down less up): the reference's own friction."""


def loop_of(
    time_s: FloatArray, displacement_mm: FloatArray, force_newton: FloatArray, settings: SkewSettings | None = None
) -> Loop:
    """Return the loop of one stroke, down and up again, while it pressed on the reference. Arrays (N,), in time order.

    Both ways must be at constant speed within the window of the settings.
    Raises TooFewReadings if there are not enough samples on either way.
    """
    window = settings or SkewSettings()
    turn, top = int(np.argmax(displacement_mm)), float(np.max(displacement_mm))
    start = float(np.min(displacement_mm))
    lower, upper = start + window.window_from_share * (top - start), start + window.window_to_share * (top - start)
    inside = (displacement_mm >= lower) & (displacement_mm <= upper)
    before = np.arange(len(time_s)) <= turn
    middle = (lower + upper) / 2.0
    levels, stiffness, speeds = [], [], []
    speed = _speed(time_s, displacement_mm)
    for way in (inside & before, inside & ~before):
        if way.sum() < FEWEST_SAMPLES:
            raise TooFewReadings(
                f"{way.sum()} samples on one way of a stroke; press slower or further on the reference"
            )
        # a parabola: frame and spring together are not quite straight, and a hand is not as long at every place
        level, slope, _ = np.linalg.pinv(np.vander(displacement_mm[way] - middle, 3, increasing=True))
        stiffness.append(float(slope @ force_newton[way]))
        levels.append(float(level @ force_newton[way]))
        # a lead screw wobbles, so the speed must be that of the samples that make the level, with their weights
        speeds.append(abs(float(level @ speed[way])))
    return Loop((speeds[0] + speeds[1]) / 2.0, levels[1] - levels[0], (stiffness[0] + stiffness[1]) / 2.0)


LOOK_S = 0.010
"""So long before and after a sample its speed is looked at: many steps of the gauge, little of a screw's turn."""


def _speed(time_s: FloatArray, displacement_mm: FloatArray) -> FloatArray:
    """Return the speed at every sample, mm/s, (N,)."""
    later, earlier = (np.clip(time_s + dt, time_s[0], time_s[-1]) for dt in (LOOK_S, -LOOK_S))
    way = np.interp(later, time_s, displacement_mm) - np.interp(earlier, time_s, displacement_mm)
    speed: FloatArray = way / (later - earlier)
    return speed


def find_skew(loops: Sequence[Loop]) -> Skew:
    """Return the delay that closes the loops at all speeds.

    Raises TooFewReadings with fewer than three loops, or if their speeds lie within a factor of 1.5.
    """
    speeds = np.array([loop.speed_mm_per_s for loop in loops])
    if len(loops) < 3 or speeds.max() < 1.5 * speeds.min():
        raise TooFewReadings(
            "stroke the reference three times or more, at speeds that differ by a factor of two or more"
        )
    fit = fit_polynomial(speeds, [loop.half_way_mm for loop in loops], 1)
    (at_rest_mm, delay_s), covariance = in_powers(fit)
    stiffness = float(np.mean([loop.stiffness_newton_per_mm for loop in loops]))
    u_s = max(float(np.sqrt(covariance[1, 1])), _u_of_unequal_scatter(speeds, fit.residuals))
    return Skew(float(delay_s), u_s, fit.dof, float(-at_rest_mm) * stiffness)


def _u_of_unequal_scatter(speeds: FloatArray, residuals: FloatArray) -> float:
    """Return the standard uncertainty of the slope if slow strokes, in which the zero has time to drift, scatter more.

    Source: the jackknife-like HC3 estimate, MacKinnon & White, J. Econometrics 29:305 (1985).
    """
    off = speeds - speeds.mean()
    squares = float(np.sum(off**2))
    leverage = 1.0 / len(speeds) + off**2 / squares
    return float(np.sqrt(np.sum((off * residuals / (1.0 - leverage)) ** 2)) / squares)
