"""How far the zero of the cell may wander while it cannot be seen, from how it wandered where it was seen.

How it works: the zero is read in the air before and after each stroke and taken to go straight between. What is not
straight is taken for a random walk: its variance grows by w^2 a second, and of a walk that is known at both ends of a
time T, w^2 T / 6 is left on average over that time. Down and up are a quarter of T from either end, where a walk errs
by r = 1/3 alike: (1 + r) / 2 of the variance moves both ways of the stroke together, the rest one against the other.
From reading to reading the zero shows w: the steps, less their common slope and less the noise of the readings.
Sources: covariance of a Brownian bridge, s (T - t) / T for s < t, so its variance is T / 6 on average; random walk as
the drift of a cell: NIST SP 1065.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.stages import Stroke

ALIKE = 1.0 / 3.0
"""Correlation of a Brownian bridge at a quarter and at three quarters of its time: (1/4)(1/4) / ((1/4)(3/4))."""


@dataclass(frozen=True, slots=True)
class Drift:
    """Standard uncertainty of the mean over a key's strokes by the wandering zero, and its degrees of freedom."""

    u_newton: float
    dof: float

    @property
    def together_newton(self) -> float:
        """The part that moves both ways of the strokes alike."""
        return self.u_newton * float(np.sqrt((1.0 + ALIKE) / 2.0))

    @property
    def apart_newton(self) -> float:
        """The part that moves the way down by as much as the way up the other way."""
        return self.u_newton * float(np.sqrt((1.0 - ALIKE) / 2.0))


NONE_SEEN = Drift(0.0, 1.0)


def zero_drift(strokes: tuple[Stroke, ...]) -> Drift:
    """Return what the wandering zero leaves open; nothing, where it was read less than three times."""
    seen = sorted({reading for stroke in strokes for reading in stroke.zeros})
    if len(seen) < 3:
        return NONE_SEEN
    time_s, newton = np.array(seen).T
    took_s, step = np.diff(time_s), np.diff(newton)
    off = step - took_s * float(np.sum(step)) / float(np.sum(took_s))
    read_u = float(np.mean([stroke.zero_u_newton for stroke in strokes]))
    free = len(step) - 1.0
    per_s = float(np.sum((off**2 - 2.0 * read_u**2) / took_s)) / free
    under_s = [stroke.zeros[-1][0] - stroke.zeros[0][0] for stroke in strokes if len(stroke.zeros) > 1]
    if per_s <= 0.0 or not under_s:
        return Drift(0.0, free)
    return Drift(float(np.sqrt(per_s * np.mean(under_s) / 6.0 / len(strokes))), free)
