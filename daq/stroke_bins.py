"""Samples of any rate, in blocks of any size, become one mean sample every 10 ms.

How it works: bins lie on the rig's own clock, so they are the same however the stream was cut; a bin is handed out as
soon as a sample of another bin has come. Counts are summed as integers, so not even rounding depends on the cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings.types import Calibration, RawTrace

FloatArray = NDArray[np.float64]
Int64Array = NDArray[np.int64]

BIN_US = 10_000
"""Ten milliseconds: one tenth of the period of a trembling hand, 0.1 mm of the fastest good stroke."""
LONGEST_STEP_US = 50_000
"""Samples further apart than this have a hole between them, whatever their numbers say: 100 Hz is the slowest rate."""


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Means over 10 ms, oldest first. All arrays (N,)."""

    tick_us: FloatArray
    """Mean tick of the bin's samples."""
    force_newton: FloatArray
    """As the cell shows it, its unknown zero included."""
    displacement_mm: FloatArray
    """As the gauge shows it, downward positive."""
    first_sample: Int64Array
    last_sample: Int64Array
    hole_us: Int64Array
    """Time for which samples are missing just before or inside the bin; 0: none."""
    jumps: NDArray[np.bool_]
    """The clock went back or stood still: what was before does not belong to what comes."""

    def __len__(self) -> int:
        return len(self.tick_us)


class Binner:
    """Keeps the samples of the bin under way."""

    def __init__(self, calibration: Calibration) -> None:
        self._calibration = calibration
        self._open = RawTrace.none()
        self._before: tuple[int, int] | None = None
        """Number and tick of the last sample that was handed out."""

    def feed(self, trace: RawTrace) -> Bins:
        """Return the bins that `trace` completes."""
        samples = RawTrace.joined([self._open, trace])
        bin_number = samples.tick_us // BIN_US
        starts = np.flatnonzero(np.diff(bin_number, prepend=bin_number[:1] - 1))
        complete = int(starts[-1]) if len(starts) else 0
        self._open = samples.part(slice(complete, len(samples)))
        done = samples.part(slice(0, complete))
        bins = self._bins(done, starts[:-1])
        if len(done):
            self._before = int(done.sample_number[-1]), int(done.tick_us[-1])
        return bins

    def _bins(self, done: RawTrace, starts: NDArray[np.intp]) -> Bins:
        if not len(done):
            nothing, none = np.empty(0), np.empty(0, np.int64)
            return Bins(nothing, nothing, nothing, none, none, none, np.empty(0, np.bool_))
        count = np.diff(starts, append=len(done))
        origin_us = done.tick_us[starts]
        into_us = np.add.reduceat(done.tick_us - np.repeat(origin_us, count), starts) / count
        hole_us, jumps = self._holes(done)
        return Bins(
            origin_us + into_us,
            self._calibration.force.physical(np.add.reduceat(done.force_counts.astype(np.int64), starts) / count),
            self._calibration.displacement.physical(
                np.add.reduceat(done.displacement_counts.astype(np.int64), starts) / count
            ),
            done.sample_number[starts],
            done.sample_number[starts + count - 1],
            np.add.reduceat(hole_us, starts),
            np.logical_or.reduceat(jumps, starts),
        )

    def _holes(self, done: RawTrace) -> tuple[Int64Array, NDArray[np.bool_]]:
        """Return for each sample how long the hole before it is, in us, and whether the clock failed there."""
        number, tick_us = self._before or (int(done.sample_number[0]) - 1, int(done.tick_us[0]) - 1)
        step = np.diff(done.sample_number, prepend=number)
        passed_us = np.diff(done.tick_us, prepend=tick_us)
        jumps = passed_us <= 0
        missing = (step != 1) | (passed_us > LONGEST_STEP_US)
        return np.where(missing & ~jumps, passed_us, 0), jumps
