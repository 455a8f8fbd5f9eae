"""The overlapping Allan deviation: how much means over a time tau differ from the ones before them.

How it works: with the running sum x of the signal, a mean over m samples is (x[i + m] - x[i]) / m, and the difference
of two neighbouring means a second difference of x; so every tau costs one pass over the samples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.stages import FloatArray, read_only

PER_DECADE = 10
LONGEST_SHARE = 5
"""Means over a fifth of the signal are the longest: of longer ones too few are independent to say anything."""


@dataclass(frozen=True, slots=True, eq=False)
class AllanDeviation:
    """Deviation over averaging time. Arrays (K,), tau rising."""

    tau_s: FloatArray
    deviation: FloatArray
    """In the unit of the signal."""

    def __post_init__(self) -> None:
        read_only(self.tau_s, self.deviation)

    def lowest(self) -> tuple[float, float]:
        """Return the lowest deviation and its tau in s: averaging longer than this makes nothing better."""
        at = int(np.argmin(self.deviation))
        return float(self.deviation[at]), float(self.tau_s[at])


def overlapping_allan(signal: FloatArray, lengths: NDArray[np.int64]) -> FloatArray:
    """Return the overlapping Allan deviation for means over so many samples, (K,), in the unit of the signal.

    signal: evenly spaced, (N,); lengths: (K,), each from 1 to N / 2.
    Source: NIST SP 1065 (Riley 2008), overlapping Allan variance:
    sum over j of (sum over i = j .. j+m-1 of (y[i+m] - y[i]))^2 / (2 m^2 (N - 2m + 1)).
    >>> overlapping_allan(np.array([0.0, 1.0, 0.0, 1.0]), np.array([1, 2])).round(6).tolist()
    [0.707107, 0.0]
    """
    running = np.concatenate([[0.0], np.cumsum(signal - signal.mean())])
    found = np.empty(len(lengths))
    for place, m in enumerate(lengths.tolist()):
        differences = running[2 * m :] - 2.0 * running[m:-m] + running[: -2 * m]
        found[place] = np.sqrt(0.5 * np.mean(differences**2)) / m
    return found


def allan_deviation(signal: FloatArray, rate_hz: float) -> AllanDeviation:
    """Return the overlapping Allan deviation from one sample to a fifth of the signal, ten values a decade."""
    longest = max(1, len(signal) // LONGEST_SHARE)
    count = max(1, round(PER_DECADE * np.log10(longest)) + 1)
    lengths = np.unique(np.rint(np.geomspace(1, longest, count)).astype(np.int64))
    return AllanDeviation(lengths / rate_hz, overlapping_allan(signal, lengths))
