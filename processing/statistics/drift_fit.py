"""Powers of time fitted to values that hang on something else, too, by least squares.

How it works: what the values hang on beside time (a key's level, a recording's offset) is taken out of values and times
alike (Frisch & Waugh), and what is left of the values is fitted by what is left of the times. What the keyboard's own
recording is off by is then read from the values without the drift. Both are sums of the values with weights, so their
covariance is that of the weights. What is nothing but rounding of numbers is 0.
Source: Frisch & Waugh, Econometrica 1:387, 1933 (from memory); least squares: any textbook of linear models.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, sqrt

import numpy as np
from scipy.special import stdtrit

from processing.stages import FloatArray

FEWEST_DOF = 2
"""With one, a 95 % interval is 12.7 standard uncertainties wide."""
ROUNDING = 1e-9
"""Share of the values below which a slope or a scatter is that of the arithmetic."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One way of looking at checks: n values, what they hang on beside time, and when they were measured."""

    values: FloatArray
    hours: FloatArray
    held: FloatArray
    """Shape (n, h): a column for each key, recording or whatever is not the drift."""
    whole: FloatArray
    """Weights (n,) that make of values without drift what the keyboard's own recording is off by as a whole."""
    each: int
    """How many measurements a value is the mean of."""
    least_scatter: float
    """Of a value: if it is read in steps, that of a step."""

    def free_of_held(self, columns: FloatArray) -> FloatArray:
        """Return columns (n, c) or one (n,) without all that `held` can explain."""
        free: FloatArray = columns - self.held @ np.linalg.lstsq(self.held, columns, rcond=None)[0]
        return free

    @property
    def dof(self) -> int:
        """What is left to tell the scatter about a straight drift."""
        return len(self.values) - int(np.linalg.matrix_rank(self.held)) - 1

    @property
    def hour_u(self) -> float:
        """Standard uncertainty of the slope in repeatabilities an hour."""
        free = self.free_of_held(self.hours)
        square = float(free @ free)
        return inf if square <= (ROUNDING * np.ptp(self.hours)) ** 2 else 1.0 / sqrt(square * self.each)

    @property
    def half_width(self) -> float:
        """Half-width of the slope's 95 % interval in repeatabilities an hour."""
        return inf if self.dof < FEWEST_DOF else self.hour_u * float(stdtrit(self.dof, 0.975))


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Least squares: D coefficients of powers of time, the own recording's whole, and what is not explained."""

    coefficients: FloatArray
    whole: float
    """What the keyboard's own recording is off by."""
    spread: FloatArray
    """Covariance of coefficients and whole, shape (D + 1, D + 1), for a scatter of 1."""
    square: float
    """Sum of squares that is not explained."""
    dof: int

    @property
    def covariance(self) -> FloatArray:
        """Return the covariance of coefficients and whole, in this order."""
        return self.spread * (self.square / self.dof)


def where_recordings_differ(fit: Fit, seen: Seen) -> Fit:
    """Return a straight line through means of recordings, the keyboard's own first, with what its place is unsure by.

    The own recording goes to the line. If only measurements scatter, it misses by what its leverage leaves of that; if
    recordings differ as a whole, by the line's own scatter at its place. Nobody knows which, so the greater counts.
    """
    distance, slope = float(seen.hours[0] - seen.hours.mean()), float(fit.spread[0, 0])
    leverage = 1.0 / len(seen.hours) + distance**2 * slope
    if leverage <= 0.5:
        return fit
    return replace(fit, spread=np.array([[slope, -distance * slope], [-distance * slope, leverage]]))


def rounding(values: FloatArray) -> float:
    """Return what is nothing but rounding among some values, in their unit."""
    return ROUNDING * float(np.max(np.abs(values)))


def powers_of_time(seen: Seen, degree: int) -> Fit | None:
    """Return the drift of that degree; None if its powers cannot be told apart, or nothing is left over."""
    powers = seen.hours[:, None] ** np.arange(1, degree + 1)
    free, dof = seen.free_of_held(powers), seen.dof + 1 - degree
    size = np.linalg.norm(powers, axis=0)
    if dof < 1 or np.linalg.matrix_rank(free / size, tol=sqrt(ROUNDING)) < degree:
        return None
    values = seen.free_of_held(seen.values)
    of_drift = np.linalg.solve(free.T @ free, free.T)
    of_whole = seen.whole - (seen.whole @ powers) @ of_drift
    coefficients, whole, least = of_drift @ values, float(of_whole @ seen.values), rounding(seen.values)
    left = values - free @ coefficients
    told = np.abs(coefficients) * np.linalg.norm(free, axis=0) > least
    square = float(left @ left)
    square = 0.0 if square <= dof * least**2 else square
    weights = np.vstack([of_drift, of_whole])
    return Fit(
        np.where(told, coefficients, 0.0),
        whole if abs(whole) > least else 0.0,
        weights @ weights.T,
        max(square, dof * seen.least_scatter**2),
        dof,
    )
