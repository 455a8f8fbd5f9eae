"""The rig's ticks against the host's clock: drift with its uncertainty, and how late the host reads.

How it works: whenever a block of samples has been read, the pair (host time, tick of the newest sample) lies on or
above a straight line, for a reader may be late but never early. Of each bin of rig time only the least late pair is
kept, as a clock filter does; with many bins neighbours are merged, so memory is bounded. The slope is the median of
the slopes between all pairs of bins (Theil-Sen), with Sen's interval, which asks only that the lateness of the bins be
alike, not that it be normal. The line is then laid under all pairs, and the lateness of the others read from it.
Sources: Theil 1950; Sen, J. Am. Stat. Assoc. 63:1379 (1968), as in scipy.stats.theilslopes; clock filter: RFC 5905
section 10.

The fit serves the log and the stamps of a MIDI port at the host. **Samples are never restamped with it**: they keep
the rig's own ticks. Drift is told against the host's clock, which has an error of its own (parts per million, more
while it is being disciplined).
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, theilslopes

FIRST_BIN_US = 1_000_000
MOST_BINS = 256
"""Then neighbours are merged. 256 bins give 32,640 slopes, a few milliseconds of work."""
FEWEST_BINS = 6
"""With fewer, the widest interval that there is holds the truth in less than 95 % of cases (2 / n! are outside)."""
MOST_PAIRS = 4096
"""Kept to tell how late the host reads; then every second one is dropped."""
COVERAGE = 0.95
LATENESS_SHARE = 0.99
REAL_TIME_WITHIN = 0.02
"""A free-running oscillator without a crystal is within 2 %; what is further off is played faster or slower."""
LEAP_S = 30.0
"""A tick that leaps ahead of the host's clock by more is another count: the rig restarted and its ticks were unwrapped
forward, or the host slept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFit:
    """host_s = reference_host_s + (tick_us - reference_tick_us) * 1e-6 / rate, for a host that is never late."""

    rate: float
    """Rig seconds in a host second: 1 within parts per million if the rig runs in real time."""
    drift_ppm: float | None
    """(rate - 1) in millionths; positive: the rig's clock is fast. None: the rig is played faster or slower than time
    passes, so its drift means nothing."""
    drift_u_ppm: float | None
    """Standard uncertainty: the interval's width as that of a normal distribution."""
    drift_interval_ppm: tuple[float, float] | None
    """Holds the mean drift with 95 %, as long as both clocks run evenly."""
    reference_tick_us: int
    reference_host_s: float
    """When the rig showed reference_tick_us, on the host's monotonic clock."""
    lateness_bound_s: float
    """99 % of all blocks were read no later than this, in host seconds."""
    pair_count: int
    """Blocks that the fit rests on."""

    @property
    def in_real_time(self) -> bool:
        """Tell whether a rig second is a second."""
        return abs(self.rate - 1.0) <= REAL_TIME_WITHIN

    @property
    def offset_s(self) -> float:
        """What the host's monotonic clock showed when the rig's counter stood at 0."""
        return self.reference_host_s - self.reference_tick_us * 1e-6 / self.rate

    def tick_us_at(self, host_s: float) -> int:
        """Return the rig's tick at a host time; late by as much as the host was late to look at its clock."""
        return self.reference_tick_us + round((host_s - self.reference_host_s) * self.rate * 1e6)


class ClockWatch:
    """Collects pairs from a running stream and fits them when asked. May be used from several threads."""

    def __init__(self, *, least_delay_s: float = 0.0) -> None:
        """least_delay_s: what even the fastest block takes from its newest sample to the host, its bytes on the wire.

        No one-way stream can show it (RFC 5905: half the round trip is an assumption); if it is left at 0 the fitted
        line is late by it, and ticks of host events are early by it.
        """
        self._least_delay_s = least_delay_s
        self._lock = threading.Lock()
        self.restarts = 0
        """How often the rig's count began anew."""
        self._forget()

    def _forget(self) -> None:
        self._bin_us = FIRST_BIN_US
        self._bins: list[tuple[float, int]] = []
        """(host_s, tick_us) of the least late pair of every finished bin, oldest first."""
        self._best: tuple[float, int] | None = None
        """The same for the bin under way."""
        self._newest: tuple[float, int] | None = None
        self._first_tick_us = 0
        """Where the first bin begins, so that it is as full as the others."""
        self._pairs: list[tuple[float, int]] = []
        self._pair_count, self._stride = 0, 1
        self._slope = 1.0
        """Host seconds in a rig second, as far as known."""
        self._fit: ClockFit | None = None

    def add(self, host_s: float, tick_us: int) -> None:
        """Take one pair: when a block had been read, and the unwrapped tick of its newest sample."""
        with self._lock:
            if self._newest is not None and self._is_another_count(host_s, tick_us, *self._newest):
                self.restarts += 1
                self._forget()
            if self._newest is None:
                self._first_tick_us = tick_us
            self._newest = (host_s, tick_us)
            if self._pair_count % self._stride == 0:
                self._keep_pair((host_s, tick_us))
            self._pair_count += 1
            if self._best is not None and self._bin_of(tick_us) != self._bin_of(self._best[1]):
                self._finish_bin(self._best)
            if self._best is None or self._lateness((host_s, tick_us)) < self._lateness(self._best):
                self._best = (host_s, tick_us)

    def fit(self) -> ClockFit | None:
        """Return the fit of the bins finished so far, None while they are too few."""
        with self._lock:
            if self._fit is None and len(self._bins) >= FEWEST_BINS:
                self._fit = _fit(np.array(self._bins), np.array(self._pairs), self._pair_count, self._least_delay_s)
            return self._fit

    def _is_another_count(self, host_s: float, tick_us: int, last_host_s: float, last_tick_us: int) -> bool:
        ahead_s = (tick_us - last_tick_us) * 1e-6 * self._slope - (host_s - last_host_s)
        return tick_us < last_tick_us or (len(self._bins) >= FEWEST_BINS and ahead_s > LEAP_S)

    def _bin_of(self, tick_us: int) -> int:
        return (tick_us - self._first_tick_us) // self._bin_us

    def _keep_pair(self, pair: tuple[float, int]) -> None:
        self._pairs.append(pair)
        if len(self._pairs) >= MOST_PAIRS:
            self._pairs, self._stride = self._pairs[::2], 2 * self._stride

    def _lateness(self, pair: tuple[float, int]) -> float:
        """Return a pair's lateness up to a constant."""
        return pair[0] - pair[1] * 1e-6 * self._slope

    def _finish_bin(self, best: tuple[float, int]) -> None:
        self._bins.append(best)
        self._best, self._fit = None, None
        if len(self._bins) >= MOST_BINS:
            self._bin_us *= 2
            self._bins = self._merged()
        if len(self._bins) >= 2:
            steps = np.diff(np.array(self._bins), axis=0)
            self._slope = float(np.median(steps[:, 0] / (steps[:, 1] * 1e-6)))

    def _merged(self) -> list[tuple[float, int]]:
        """Return the least late pair of each bin of the present width."""
        best: dict[int, tuple[float, int]] = {}
        for pair in self._bins:
            number = self._bin_of(pair[1])
            best[number] = min(best.get(number, pair), pair, key=self._lateness)
        return list(best.values())


def _fit(bins: NDArray[np.float64], pairs: NDArray[np.float64], count: int, least_delay_s: float) -> ClockFit | None:
    """Return the fit, None if the host's clock stood still. bins, pairs: (N, 2) and (M, 2) of host_s and tick_us."""
    reference_tick_us, reference_s = int(bins[0, 1]), float(bins[0, 0])
    rig_s = (bins[:, 1] - reference_tick_us) * 1e-6
    found = theilslopes(bins[:, 0] - reference_s, rig_s, alpha=COVERAGE)
    slope = float(found.slope)
    if slope <= 0.0:
        return None
    late_s = pairs[:, 0] - reference_s - slope * (pairs[:, 1] - reference_tick_us) * 1e-6
    base_s = min(float(late_s.min()), float((bins[:, 0] - reference_s - slope * rig_s).min()))
    drift, u, interval = None, None, None
    if abs(1.0 / slope - 1.0) <= REAL_TIME_WITHIN:
        drift = _ppm(slope)
        interval = (_ppm(float(found.high_slope)), _ppm(float(found.low_slope)))
        u = (interval[1] - interval[0]) / (2.0 * float(norm.ppf(0.5 + COVERAGE / 2.0)))
    return ClockFit(
        rate=1.0 / slope,
        drift_ppm=drift,
        drift_u_ppm=u,
        drift_interval_ppm=interval,
        reference_tick_us=reference_tick_us,
        reference_host_s=reference_s + base_s - least_delay_s,
        lateness_bound_s=float(np.quantile(late_s - base_s, LATENESS_SHARE)),
        pair_count=count,
    )


def _ppm(host_seconds_in_a_rig_second: float) -> float:
    return (1.0 / host_seconds_in_a_rig_second - 1.0) * 1e6
