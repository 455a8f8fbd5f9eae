"""Control charts: points, centre and limits; the limits are frozen from a baseline and applied to all that comes later.

How it works: a `Baseline` is centre and spread of units that are held to be in control. Every chart takes a baseline
and values and gives a `Chart`; nothing that is charted moves its limits. The spread of a baseline is that from unit to
unit as it was seen: what the units differ by and what measuring adds, together. So measuring that became worse looks
like a process that became worse, and a rig that measures poorly widens every limit.
Sources: e-Handbook 6.3.2.1 to 6.3.2.4; limits of the moving range with D4 of two (ibid.).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.signal import lfilter

from processing.control.constants import c4, chart_constants
from processing.stages import FloatArray, read_only

Kind = Literal["individuals", "moving range", "means", "standard deviations", "moving average", "sums"]
Spread = Literal["moving range", "standard deviation"]


@dataclass(frozen=True, slots=True)
class Baseline:
    """What units in control are like: centre and standard deviation, from how many."""

    centre: float
    sigma: float
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """One chart. Arrays (N,), oldest first, in the values' unit; a point without a value is nan and never signals."""

    kind: Kind
    centre: float
    points: FloatArray
    lower: FloatArray
    upper: FloatArray

    def __post_init__(self) -> None:
        read_only(self.points, self.lower, self.upper)

    @property
    def signals(self) -> tuple[int, ...]:
        """Return which points are beyond a limit, from 0."""
        beyond = (self.points < self.lower) | (self.points > self.upper)
        return tuple(np.flatnonzero(beyond).tolist())


@dataclass(frozen=True, slots=True, eq=False)
class SumChart:
    """A tabular CUSUM: sums of what lies above and below the centre by more than the allowance. Arrays (N,)."""

    centre: float
    high: FloatArray
    low: FloatArray
    limit: float
    """Both sums signal above it, in the values' unit."""

    def __post_init__(self) -> None:
        read_only(self.high, self.low)

    @property
    def signals(self) -> tuple[int, ...]:
        """Return where either sum is beyond its limit, from 0."""
        return tuple(np.flatnonzero((self.high > self.limit) | (self.low > self.limit)).tolist())


def baseline_of(values: FloatArray, *, spread: Spread = "moving range") -> Baseline:
    """Return centre and spread of a baseline.

    values: (N,), at least two, oldest first. spread: "moving range" is MR/d2, blind to slow drifts within the
    baseline; "standard deviation" is s/c4, as sure with four units as the other
    with six, if the baseline is steady.
    """
    values = values[np.isfinite(values)]
    if len(values) < 2:
        raise ValueError(f"{len(values)} units make no baseline; two at least")
    if spread == "moving range":
        sigma = float(np.abs(np.diff(values)).mean()) / chart_constants(2).d2
    else:
        sigma = float(values.std(ddof=1)) / c4(len(values))
    return Baseline(float(values.mean()), sigma, len(values))


def individuals(values: FloatArray, baseline: Baseline, *, width: float = 3.0) -> Chart:
    """Chart single values against centre -+ width * sigma.

    Source: e-Handbook 6.3.2.2.
    """
    return _level("individuals", values, baseline.centre, width * baseline.sigma)


def moving_ranges(values: FloatArray, baseline: Baseline) -> Chart:
    """Chart the distance of each value from the one before; the first has none (nan). Limits: 0 and D4 times the mean.

    Source: e-Handbook 6.3.2.2.
    """
    of_two = chart_constants(2)
    mean = of_two.d2 * baseline.sigma
    ranges = np.concatenate([[np.nan], np.abs(np.diff(values))])
    count = len(values)
    return Chart("moving range", mean, ranges, np.zeros(count), np.full(count, of_two.upper_range * mean))


def moving_average(
    values: FloatArray, baseline: Baseline, *, weight: float = 0.2, width: float = 3.0, asymptotic: bool = False
) -> Chart:
    """Chart the exponentially weighted moving average that starts at the centre (EWMA): drifts show early.

    weight: of the newest value, 0 to 1. asymptotic: limits as after many values; else narrower for the first.
    A missing value leaves the average where it is. Source: e-Handbook 6.3.2.4.
    """
    off = np.where(np.isfinite(values), values - baseline.centre, np.nan)
    seen = np.isfinite(off)
    averages = np.full(len(values), np.nan)
    averages[seen] = baseline.centre + lfilter([weight], [1.0, weight - 1.0], off[seen])
    age = np.where(seen, np.cumsum(seen), 1)
    share = 1.0 if asymptotic else 1.0 - (1.0 - weight) ** (2.0 * age)
    half = width * baseline.sigma * np.sqrt(weight / (2.0 - weight) * share) * np.ones(len(values))
    return Chart("moving average", baseline.centre, averages, baseline.centre - half, baseline.centre + half)


def cumulative_sums(values: FloatArray, baseline: Baseline, *, allowance: float = 0.5, width: float = 5.0) -> SumChart:
    """Chart tabular cumulative sums (CUSUM): steps of about twice the allowance show soonest.

    allowance and width: in sigma of the baseline (k and h). A missing value leaves the sums where they are.
    Source: e-Handbook 6.3.2.3.
    """
    slack = allowance * baseline.sigma
    high, low = np.zeros(len(values)), np.zeros(len(values))
    up = down = 0.0
    for place, value in enumerate(values.tolist()):
        if np.isfinite(value):
            up = max(0.0, up + value - baseline.centre - slack)
            down = max(0.0, down + baseline.centre - value - slack)
        high[place], low[place] = up, down
    return SumChart(baseline.centre, high, low, width * baseline.sigma)


@dataclass(frozen=True, slots=True)
class SampleBaseline:
    """What samples of equal kind are like in control: grand mean and the standard deviation within a sample."""

    centre: float
    within: float
    count: int


def sample_baseline(samples: Sequence[FloatArray]) -> SampleBaseline:
    """Return grand mean and mean of s/c4 of samples of two values at least, of any sizes.

    Source: e-Handbook 6.3.2.1; with unequal sizes each s is divided by its own c4.
    """
    sigmas = [sample.std(ddof=1) / c4(len(sample)) for sample in samples]
    weights = np.array([len(sample) for sample in samples], np.float64)
    means = np.array([sample.mean() for sample in samples])
    return SampleBaseline(float(weights @ means / weights.sum()), float(np.mean(sigmas)), len(samples))


def means(samples: Sequence[FloatArray], baseline: SampleBaseline, *, width: float = 3.0) -> Chart:
    """Chart the samples' means (X-bar); right only if samples differ by no more than their values within do."""
    points = np.array([sample.mean() for sample in samples])
    half = width * baseline.within / np.sqrt([len(sample) for sample in samples])
    return Chart("means", baseline.centre, points, baseline.centre - half, baseline.centre + half)


def standard_deviations(samples: Sequence[FloatArray], baseline: SampleBaseline) -> Chart:
    """Chart the samples' standard deviations (S) against B3 and B4 of their sizes."""
    points = np.array([sample.std(ddof=1) for sample in samples])
    sizes = [chart_constants(len(sample)) for sample in samples]
    mean = np.array([of.c4 * baseline.within for of in sizes])
    lower, upper = (np.array([getattr(of, end) for of in sizes]) * mean for end in ("b3", "b4"))
    return Chart("standard deviations", float(mean.mean()), points, lower, upper)


def _level(kind: Kind, values: FloatArray, centre: float, half: float) -> Chart:
    count = len(values)
    return Chart(kind, centre, values.copy(), np.full(count, centre - half), np.full(count, centre + half))
