"""The fit of ticks to host time, on simulated clocks whose drift and lateness are known."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
import pytest

from daq.clock_fit import FEWEST_BINS, MOST_BINS, MOST_PAIRS, ClockFit, ClockWatch

BLOCK_US = 50_000


@dataclass(frozen=True, kw_only=True)
class SimulatedClock:
    """A rig that sends a block every 50 ms of its own time to a host that is late by an exponential delay, and once in
    500 blocks by up to 0.6 s; blocks that were held up come in together, in their order."""

    drift_ppm: float = 0.0
    speed: float = 1.0
    seconds: float = 60.0
    mean_delay_s: float = 0.003
    huge_share: float = 0.002
    seed: int = 1
    first_tick_us: int = 5_000_000_000
    first_host_s: float = 81_000.0

    @property
    def rig_us(self) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.arange(0, round(self.seconds * 1e6), BLOCK_US)

    def host_s_at(self, rig_us: float) -> float:
        """The host's clock when the rig has run for rig_us."""
        return self.first_host_s + rig_us * 1e-6 / (self.speed * (1.0 + self.drift_ppm * 1e-6))

    def pairs(self) -> list[tuple[float, int]]:
        random, rig_us = np.random.default_rng(self.seed), self.rig_us
        late = random.exponential(self.mean_delay_s, len(rig_us))
        late += (random.random(len(rig_us)) < self.huge_share) * random.uniform(0.1, 0.6, len(rig_us))
        read_s = np.maximum.accumulate([self.host_s_at(us) for us in rig_us.tolist()] + late)
        return list(zip(read_s.tolist(), (self.first_tick_us + rig_us).tolist(), strict=True))


def watched(clock: SimulatedClock) -> ClockWatch:
    watch = ClockWatch()
    for host_s, tick_us in clock.pairs():
        watch.add(host_s, tick_us)
    return watch


def fitted(clock: SimulatedClock) -> ClockFit:
    fit = watched(clock).fit()
    assert fit is not None
    return fit


def holds(fit: ClockFit, drift_ppm: float) -> bool:
    assert fit.drift_interval_ppm is not None
    low, high = fit.drift_interval_ppm
    return low <= drift_ppm <= high


def test_the_interval_holds_the_true_drift_as_often_as_it_says() -> None:
    """360 clocks: a share of 95 % of so many is within 92.7..97.3 % by two standard deviations of the binomial."""
    drifts = (0.0, 5.0, -5.0, 50.0, -50.0, 300.0) * 60
    clocks = [SimulatedClock(drift_ppm=drift, seconds=40.0, seed=seed) for seed, drift in enumerate(drifts)]
    held = [holds(fitted(clock), clock.drift_ppm) for clock in clocks]

    assert len(held) == 360
    assert 0.92 <= np.mean(held) <= 0.98


def test_the_standard_uncertainty_is_as_large_as_the_errors_are() -> None:
    fits = [fitted(SimulatedClock(drift_ppm=20.0, seed=seed)) for seed in range(60)]
    errors = np.array([(fit.drift_ppm or 0.0) - 20.0 for fit in fits])
    stated = np.array([fit.drift_u_ppm for fit in fits], np.float64)

    assert 0.7 < np.sqrt(np.mean((errors / stated) ** 2)) < 1.3


def test_a_longer_stream_is_thinned_and_loses_nothing_but_memory() -> None:
    clock = SimulatedClock(drift_ppm=50.0, seconds=700.0)
    watch = watched(clock)
    fit = watch.fit()

    assert fit is not None
    assert holds(fit, 50.0)
    assert fit.drift_u_ppm is not None
    assert fit.drift_u_ppm < 0.1
    assert fit.pair_count == 14_000
    assert len(watch._bins) < MOST_BINS
    assert len(watch._pairs) < MOST_PAIRS


def test_the_lateness_bound_is_the_99th_percentile_of_the_delays() -> None:
    """Of an exponential delay with mean m: m ln 100."""
    fit = fitted(SimulatedClock(huge_share=0.0, seconds=200.0, mean_delay_s=0.004))

    assert fit.lateness_bound_s == pytest.approx(0.004 * log(100.0), rel=0.12)


def test_rare_huge_delays_move_neither_drift_nor_offset() -> None:
    clock = SimulatedClock(huge_share=0.02, drift_ppm=5.0)
    fit = fitted(clock)

    assert holds(fit, 5.0)
    assert fit.offset_s == pytest.approx(clock.first_host_s - clock.first_tick_us * 1e-6 / (1 + 5e-6), abs=0.05)
    for rig_us in (0, 30_000_000, 60_000_000):
        assert fit.tick_us_at(clock.host_s_at(rig_us)) == pytest.approx(clock.first_tick_us + rig_us, abs=200)


def test_a_known_least_delay_is_taken_out() -> None:
    plain, told = ClockWatch(), ClockWatch(least_delay_s=0.007)
    for host_s, tick_us in SimulatedClock().pairs():
        plain.add(host_s, tick_us)
        told.add(host_s, tick_us)
    late, fit = plain.fit(), told.fit()

    assert late is not None
    assert fit is not None
    assert late.reference_host_s - fit.reference_host_s == pytest.approx(0.007, abs=1e-9)
    assert fit.tick_us_at(81_000.0) - late.tick_us_at(81_000.0) == pytest.approx(7000, abs=1)


@pytest.mark.parametrize("speed", [0.5, 10.0, 60.0])
def test_a_rig_that_is_played_faster_or_slower_has_a_rate_and_no_drift(speed: float) -> None:
    fit = fitted(SimulatedClock(speed=speed, seconds=300.0, mean_delay_s=0.001))

    assert not fit.in_real_time
    assert fit.rate == pytest.approx(speed, rel=0.001)
    assert (fit.drift_ppm, fit.drift_u_ppm, fit.drift_interval_ppm) == (None, None, None)


def test_too_few_bins_give_no_fit_rather_than_a_poor_one() -> None:
    assert watched(SimulatedClock(seconds=FEWEST_BINS - 0.1)).fit() is None
    assert watched(SimulatedClock(seconds=FEWEST_BINS + 0.2)).fit() is not None
    assert ClockWatch().fit() is None


@pytest.mark.parametrize(
    ("first_tick_us", "why"),
    [
        (1000, "the count goes back"),
        (9_000_000_000, "the count of a restarted rig was unwrapped forward"),
    ],
)
def test_a_rig_that_restarts_begins_a_new_fit(first_tick_us: int, why: str) -> None:
    watch = watched(SimulatedClock(drift_ppm=300.0, seconds=20.0))
    again = SimulatedClock(drift_ppm=-50.0, first_tick_us=first_tick_us, first_host_s=81_025.0)
    first, *rest = again.pairs()
    watch.add(*first)

    assert watch.fit() is None, why
    for pair in rest:
        watch.add(*pair)
    fit = watch.fit()
    assert watch.restarts == 1
    assert fit is not None
    assert holds(fit, -50.0)


def test_a_cable_that_was_out_for_a_minute_is_no_restart() -> None:
    watch, clock = ClockWatch(), SimulatedClock(drift_ppm=50.0, seconds=120.0)
    for host_s, tick_us in clock.pairs():
        if not 30.0 < host_s - clock.first_host_s < 90.0:
            watch.add(host_s, tick_us)
    fit = watch.fit()

    assert watch.restarts == 0
    assert fit is not None
    assert holds(fit, 50.0)


def test_a_host_clock_that_stands_still_gives_no_fit() -> None:
    watch = ClockWatch()
    for tick_us in range(0, 20_000_000, BLOCK_US):
        watch.add(7.0, tick_us)

    assert watch.fit() is None
