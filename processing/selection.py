"""Medians, quantiles, means, variances and first places, the same as numpy's, in a fraction of the time.

How it works: for a median or a quantile of a long array, a thousandth part of the values, sorted, tells between which
two values the wanted one must lie; only the few values between these are then looked at. Where the guess was wrong, or
the array is short, numpy's own selection does it, so the answer never depends on the guess. On short arrays numpy
spends most of its time on what else might be asked of it; a curve is read some fifty times a key, so means and places
are had without that.
Source: selection by sampling, Floyd & Rivest, Commun. ACM 18:165 (1975).
"""

from __future__ import annotations

import numpy as np

from processing.stages import BoolArray, FloatArray

SHORT = 4096
"""Numpy's own selection is as fast up to here."""
SAMPLED = 1024
MARGIN_SIGMAS = 4.0
"""The rank of a value among those sampled scatters by sqrt(n p (1 - p))."""


def mean(values: FloatArray) -> float:
    """Return the mean of values, shape (N,), N >= 1."""
    return float(np.add.reduce(values)) / len(values)


def sums(values: FloatArray) -> FloatArray:
    """Return the sums of the first 0, 1, .. N values, shape (N + 1,): of any stretch a difference of two."""
    total = np.empty(len(values) + 1)
    total[0] = 0.0
    np.add.accumulate(values, out=total[1:])
    return total


def variance(values: FloatArray) -> float:
    """Return the variance of what values, shape (N,), N >= 2, are a sample of: over N - 1."""
    off = values - mean(values)
    return float(np.add.reduce(off * off)) / (len(values) - 1)


def trapezoid(values: FloatArray, step: float) -> float:
    """Return the integral of values at places a step apart, shape (N,), N >= 1, by the trapezoid rule."""
    return step * (float(np.add.reduce(values)) - float(values[0] + values[-1]) / 2.0)


def first_true(condition: BoolArray) -> int:
    """Return the first place at which a condition holds, which it must somewhere."""
    return int(condition.argmax())


def last_true(condition: BoolArray) -> int:
    """Return the last place at which a condition holds, which it must somewhere."""
    return len(condition) - 1 - int(condition[::-1].argmax())


def median(values: FloatArray) -> float:
    """Return the median of finite values, shape (N,), N >= 1."""
    low, high = _neighbours_in_rank(values, (len(values) - 1) // 2, len(values) // 2)
    return (low + high) / 2.0


def quantile(values: FloatArray, share: float) -> float:
    """Return the value under which a share of finite values lies, straight between ranks; shape (N,), N >= 1."""
    rank = share * (len(values) - 1)
    whole = int(rank)
    low, high = _neighbours_in_rank(values, whole, min(whole + 1, len(values) - 1))
    return low + (rank - whole) * (high - low)


def _neighbours_in_rank(values: FloatArray, first: int, last: int) -> tuple[float, float]:
    """Return the values of two ranks that are equal or follow each other, 0 the smallest."""
    if len(values) > SHORT:
        low, high = _bracket(values, first)
        below = int(np.count_nonzero(values < low))
        between = values[np.flatnonzero((values >= low) & (values <= high))]
        if below <= first and last < below + len(between):
            values, first, last = between, first - below, last - below
    parted = values.copy()
    parted.partition((first, last))
    return float(parted[first]), float(parted[last])


def _bracket(values: FloatArray, rank: int) -> tuple[float, float]:
    sampled = np.sort(values[:: len(values) // SAMPLED])
    count, share = len(sampled), rank / len(values)
    margin = MARGIN_SIGMAS * float(np.sqrt(count * share * (1.0 - share))) + 2.0
    low, high = int(share * count - margin), int(share * count + margin) + 1
    return (float(sampled[low]) if low > 0 else -np.inf), (float(sampled[high]) if high < count else np.inf)
