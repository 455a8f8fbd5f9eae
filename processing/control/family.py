"""How wide limits must stand so that many charts together cry wolf as seldom as stated.

How it works: a family is a number of series (a measurand in a group of keys), each watched by three charts: single
values, moving average, cumulative sums. Lines in which nothing changes are drawn: normal, independent units,
standardised by the mean and standard deviation of their own baseline, exactly as the charts do it. So it counts that
the limits themselves rest on a few units, which makes limits of three sigma cry wolf far too often. The widths are
those at which each of the three charts is as rare as the others and all three together are as rare as one series may
be. Series share the rate by Sidak's rule: exact for independent ones; series that resemble each other cry wolf
together, hence more seldom than stated (Sidak 1967, from memory: exact or on the safe side for normal values).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from processing.control.constants import c4
from processing.control.settings import ControlSettings

Float32 = NDArray[np.float32]
AT_ONCE = 50_000


@dataclass(frozen=True, slots=True)
class Widths:
    """Widths of the limits of one series, in sigma: of the value, of the moving average, of the values' sum."""

    single: float
    average: float
    """In standard deviations of the average after as many values as there are."""
    sums: float
    series: int
    """For how many series they hold together."""
    baseline: int
    rate: float
    """Chance of any signal in the whole family within the horizon, if nothing changes."""
    horizon: int


@cache
def widths_for(series: int, baseline: int, settings: ControlSettings | None = None) -> Widths:
    """Return the widths for a family of so many series whose limits rest on so many units each."""
    settings = settings or ControlSettings()
    highest = _highest(
        baseline, settings.horizon, settings.weight, settings.allowance, settings.replicates, settings.seed
    )
    of_one = 1.0 - (1.0 - settings.false_alarms) ** (1.0 / series)
    single, average, sums = _equally_rare(highest, of_one)
    return Widths(single, average, sums, series, baseline, settings.false_alarms, settings.horizon)


def _equally_rare(highest: Float32, rate: float) -> tuple[float, float, float]:
    """Return the levels, each exceeded as rarely as the others, that any of is exceeded with probability `rate`.

    highest: (replicates, 3), the highest that each chart went in each drawn line.
    """
    count = len(highest)
    ranks = np.empty(highest.shape, np.int64)
    for chart in range(highest.shape[1]):
        ranks[np.argsort(-highest[:, chart], kind="stable"), chart] = np.arange(count)
    rarest = np.sort(ranks.min(axis=1))
    allowed = int(rarest[max(0, round(rate * count) - 1)])
    falling = -np.sort(-highest, axis=0)
    single, average, sums = falling[min(allowed + 1, count - 1)].tolist()
    return single, average, sums


@cache
def _highest(baseline: int, horizon: int, weight: float, allowance: float, replicates: int, seed: int) -> Float32:
    """Draw lines in control and return how high each of the three charts goes in each, (replicates, 3)."""
    random = np.random.default_rng(seed)
    sizes = [min(AT_ONCE, replicates - begun) for begun in range(0, replicates, AT_ONCE)]
    return np.concatenate([_drawn(random, size, baseline, horizon, weight, allowance) for size in sizes])


def _drawn(
    random: np.random.Generator, lines: int, baseline: int, horizon: int, weight: float, allowance: float
) -> Float32:
    centre = (random.standard_normal(lines) / np.sqrt(baseline)).astype(np.float32)
    spread = np.sqrt(random.chisquare(baseline - 1, lines) / (baseline - 1)) / c4(baseline)
    scale = (1.0 / spread).astype(np.float32)
    average, up, down = (np.zeros(lines, np.float32) for _ in range(3))
    highest = np.zeros((3, lines), np.float32)
    for unit in range(horizon):
        value = (random.standard_normal(lines, np.float32) - centre) * scale
        average += np.float32(weight) * (value - average)
        share = np.float32(1.0 / np.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * unit + 2))))
        np.maximum(up + value - np.float32(allowance), 0.0, out=up)
        np.maximum(down - value - np.float32(allowance), 0.0, out=down)
        np.maximum(highest[0], np.abs(value), out=highest[0])
        np.maximum(highest[1], np.abs(average) * share, out=highest[1])
        np.maximum(highest[2], np.maximum(up, down), out=highest[2])
    return highest.T
