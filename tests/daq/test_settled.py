"""A reading of the cell that has come to rest, or says why not."""

from __future__ import annotations

import numpy as np
import pytest

from daq.calibration.settled import SettledReading, SettleSettings, SettleWatch
from daq.errors import ReadingLost
from recordings.types import RawTrace

RATE_HZ = 1000.0
NOISE_COUNTS = 60.0


def samples(counts: np.ndarray, first: int = 0) -> RawTrace:  # type: ignore[type-arg]
    number = np.arange(first, first + len(counts), dtype=np.int64)
    force = np.rint(counts).astype(np.int32)
    return RawTrace(number, number * 1000, force, np.zeros(len(counts), np.int32))


def noisy(level: np.ndarray | float, seconds: float, seed: int = 1) -> np.ndarray:  # type: ignore[type-arg]
    count = round(seconds * RATE_HZ)
    return np.broadcast_to(level, count) + np.random.default_rng(seed).normal(0.0, NOISE_COUNTS, count)


def fed(trace: RawTrace, piece: int = 50, settings: SettleSettings | None = None) -> SettledReading | None:
    watch = SettleWatch(RATE_HZ, settings)
    for start in range(0, len(trace), piece):
        reading = watch.feed(trace.part(slice(start, start + piece)))
        if reading is not None:
            return reading
    return None


@pytest.mark.parametrize("piece", [1, 50, 777, 5000])
def test_a_quiet_cell_is_read_after_three_windows_however_the_samples_come(piece: int) -> None:
    reading = fed(samples(noisy(1000.0, 5.0)), piece)

    assert reading is not None
    assert reading.settled
    assert reading.samples == 1500
    assert reading.mean_counts == pytest.approx(1000.0, abs=5.0 * NOISE_COUNTS / np.sqrt(1500))
    assert reading.sd_counts == pytest.approx(NOISE_COUNTS, rel=0.1)


def test_a_load_that_swings_is_waited_for() -> None:
    time_s = np.arange(20000) / RATE_HZ
    swinging = 4000.0 * np.exp(-time_s / 1.0) * np.sin(2 * np.pi * 0.7 * time_s)

    reading = fed(samples(noisy(20000.0 + swinging, 20.0)))

    assert reading is not None
    assert reading.settled
    assert reading.time_s > 3.0
    assert reading.mean_counts == pytest.approx(20000.0, abs=20.0)


def test_a_load_that_is_laid_on_meanwhile_is_read_as_it_is_afterwards() -> None:
    level = np.where(np.arange(10000) < 700, 0.0, 20000.0)

    reading = fed(samples(noisy(level, 10.0)))

    assert reading is not None
    assert reading.mean_counts == pytest.approx(20000.0, abs=10.0)


def test_a_load_that_never_rests_is_read_at_the_end_of_the_patience_and_says_so() -> None:
    creeping = np.arange(40000) * 0.5

    reading = fed(samples(noisy(creeping, 40.0)))

    assert reading is not None
    assert not reading.settled
    assert "still differ by" in reading.why_not


def test_a_gap_makes_the_reading_begin_again() -> None:
    whole = samples(noisy(1000.0, 6.0))
    torn = RawTrace.joined([whole.part(slice(0, 1400)), whole.part(slice(1450, None))])

    reading = fed(torn)

    assert reading is not None
    assert reading.begun_again == 1
    assert reading.time_s > 1.45 + 0.7  # nothing of before the gap is in it


def test_a_cable_that_loses_something_all_the_time_gives_no_reading() -> None:
    whole = samples(noisy(1000.0, 40.0))
    torn = whole.part(whole.sample_number % 400 != 0)

    with pytest.raises(ReadingLost, match="samples were lost"):
        fed(torn)


def test_a_cell_without_noise_is_read_too() -> None:
    reading = fed(samples(np.full(3000, 7.0)))

    assert reading is not None
    assert (reading.mean_counts, reading.sd_counts) == (7.0, 0.0)
