"""Constants of control charts for normal values, exact for any size of a sample.

How it works: c4 comes from the gamma function; d2 and d3 from the distribution of the range of n standard normal
values, P(R <= r) = n * integral of phi(x) (Phi(x + r) - Phi(x))^(n - 1) dx, summed over a wide grid, which for such a
smooth integrand that vanishes at both ends is exact to many digits; over r by Simpson's rule. Limits are those of three
standard deviations.
Sources: ISO 7870-2 and the e-Handbook 6.3.2 for the definitions (from memory); table values in tests/truths/control.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import exp, lgamma, sqrt

import numpy as np
from scipy.integrate import simpson
from scipy.special import ndtr

WIDTH = 3.0
GRID_STEP, GRID_END, WIDEST_RANGE = 0.02, 8.5, 17.0
"""Of the integrals, in standard deviations; beyond the ends lies less than 1e-16."""


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Constants of samples of `size` values, by their usual names."""

    size: int
    c4: float
    """Mean of the standard deviation, in sigma."""
    d2: float
    """Mean of the range, in sigma."""
    d3: float
    """Standard deviation of the range, in sigma."""

    @property
    def a3(self) -> float:
        """Limits of a mean: grand mean -+ A3 * mean standard deviation."""
        return WIDTH / (self.c4 * sqrt(self.size))

    @property
    def a2(self) -> float:
        """Limits of a mean: grand mean -+ A2 * mean range."""
        return WIDTH / (self.d2 * sqrt(self.size))

    @property
    def b3(self) -> float:
        """Lower limit of a standard deviation: B3 * mean standard deviation."""
        return max(0.0, 1.0 - self._b)

    @property
    def b4(self) -> float:
        """Upper limit of a standard deviation: B4 * mean standard deviation."""
        return 1.0 + self._b

    @property
    def lower_range(self) -> float:
        """D3: lower limit of a range, D3 * mean range."""
        return max(0.0, 1.0 - WIDTH * self.d3 / self.d2)

    @property
    def upper_range(self) -> float:
        """D4: upper limit of a range, D4 * mean range."""
        return 1.0 + WIDTH * self.d3 / self.d2

    @property
    def _b(self) -> float:
        return WIDTH * sqrt(1.0 - self.c4**2) / self.c4


@cache
def chart_constants(size: int) -> ChartConstants:
    """Return the constants of samples of `size` values, at least 2.

    >>> round(chart_constants(5).c4, 4), round(chart_constants(2).d2, 3)
    (0.94, 1.128)
    """
    if size < 2:
        raise ValueError(f"a sample of {size} has no spread; constants begin at 2")
    d2, d3 = _range_moments(size)
    return ChartConstants(size, c4(size), d2, d3)


def c4(size: int) -> float:
    """Return the mean of the standard deviation of `size` standard normal values."""
    return sqrt(2.0 / (size - 1)) * exp(lgamma(size / 2.0) - lgamma((size - 1) / 2.0))


def _range_moments(size: int) -> tuple[float, float]:
    """Return mean and standard deviation of the range: integrals of P(R > r) and of 2 r P(R > r)."""
    x = np.arange(-GRID_END - WIDEST_RANGE, GRID_END, GRID_STEP)
    r = np.arange(0.0, WIDEST_RANGE, GRID_STEP)
    density = np.exp(-0.5 * x * x) / sqrt(2.0 * np.pi)
    below = ndtr(x)
    beyond = np.array([1.0 - size * np.sum(density * (ndtr(x + one) - below) ** (size - 1)) * GRID_STEP for one in r])
    mean = float(simpson(beyond, x=r))
    square = float(simpson(2.0 * r * beyond, x=r))
    return mean, sqrt(square - mean**2)
