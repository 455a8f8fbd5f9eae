"""The last seconds of a plunger, bin by bin, and the press under way: what the judge remembers between samples."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from daq.stroke_bins import Bins
from daq.stroke_measure import StrokeWindow

FORGET_AT_ONCE = 500
"""Bins are dropped so many at a time: dropping one by one would move the rest each time."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One bin."""

    tick_us: int
    time_s: float
    force_newton: float
    """As the cell shows it."""
    displacement_mm: float
    first_sample: int
    last_sample: int
    hole_us: int
    clock_jumps: bool


@dataclass(slots=True)
class Press:
    """A press under way, by numbers of bins."""

    contact: int
    began_s: float
    base_mm: float
    """Displacement of touch, as well as it is known."""
    known_home: bool
    """It began on a key whose place of touch is known from the press before."""
    deepest_mm: float
    low_mm: float
    """Lowest place since the deepest."""
    low: int
    ended_s: float | None = None
    """Since when it is in the air again."""

    def go_on(self, at: int, displacement_mm: float) -> None:
        """Take the next place."""
        if displacement_mm > self.deepest_mm:
            self.deepest_mm = self.low_mm = displacement_mm
            self.low = at
        elif displacement_mm < self.low_mm:
            self.low_mm, self.low = displacement_mm, at


class StrokeTrack:
    """Bins by number; the oldest may be gone."""

    def __init__(self) -> None:
        self._moments: list[Moment] = []
        self._gone = 0

    def __len__(self) -> int:
        return len(self._moments)

    def __getitem__(self, at: int) -> Moment:
        return self._moments[at - self._gone]

    @staticmethod
    def moments(bins: Bins) -> Iterator[Moment]:
        """Hand out bins one by one."""
        columns = (
            np.rint(bins.tick_us).astype(np.int64).tolist(),
            (bins.tick_us * 1e-6).tolist(),
            bins.force_newton.tolist(),
            bins.displacement_mm.tolist(),
            bins.first_sample.tolist(),
            bins.last_sample.tolist(),
            bins.hole_us.tolist(),
            bins.jumps.tolist(),
        )
        return (Moment(*row) for row in zip(*columns, strict=True))

    @property
    def last(self) -> Moment:
        """The newest bin."""
        return self._moments[-1]

    @property
    def oldest(self) -> int:
        """Number of the oldest bin that is kept."""
        return self._gone

    @property
    def newest(self) -> int:
        """Number of the newest bin."""
        return self._gone + len(self._moments) - 1

    def add(self, moment: Moment) -> int:
        """Take a bin and return its number."""
        self._moments.append(moment)
        return self.newest

    def forget_before(self, at: int) -> None:
        """Drop what is older than bin `at`, now or a little later."""
        if at - self._gone >= FORGET_AT_ONCE:
            del self._moments[: at - self._gone]
            self._gone = at

    def speed_mm_per_s(self, bins: int) -> float:
        """Return the mean speed over the last bins."""
        recent = self._moments[-bins - 1 :]
        took_s = recent[-1].time_s - recent[0].time_s
        return (recent[-1].displacement_mm - recent[0].displacement_mm) / took_s if took_s > 0.0 else 0.0

    def holes(self, first: int, last: int) -> tuple[int, float]:
        """Return how many holes there are after bin `first`, up to `last`, and how long together in s."""
        holes = [moment.hole_us for moment in self._between(first + 1, last) if moment.hole_us]
        return len(holes), sum(holes) * 1e-6

    def window(self, first: int, last: int, contact: int, zero_newton: float, home_mm: float | None) -> StrokeWindow:
        """Return the bins from `first` to `last` as arrays, to be measured."""
        moments = self._between(first, last)
        return StrokeWindow(
            np.array([moment.time_s for moment in moments]),
            np.array([moment.displacement_mm for moment in moments]),
            np.array([moment.force_newton for moment in moments]),
            contact - first,
            zero_newton,
            home_mm,
        )

    def _between(self, first: int, last: int) -> list[Moment]:
        return self._moments[first - self._gone : last + 1 - self._gone]
