"""A reading of the cell that has come to rest.

How it works: samples are gathered into windows of one length. When three windows in a row have means that agree as far
as the noise of white samples allows, the three together are the reading. The noise is that of differences between
neighbouring samples, so a load that is still changing does not pass for noise. A gap in the sample numbers makes the
reading begin again; when the patience is at its end the reading is given all the same and says why it is not settled.
Waiting is reckoned in the rig's time. Source: mean square successive difference, von Neumann et al., Ann. Math. Stat.
12:153 (1941).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.errors import ReadingLost, RigMisbehaved
from daq.listener import Listener
from daq.sitting import Sitting
from recordings.types import RawTrace

LOOK_EVERY_S = 0.005
"""In the host's time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettleSettings:
    """When a reading is believed to have come to rest."""

    window_s: float = 0.5
    """Whole periods of mains hum, of 50 and of 60 Hz, so that it falls out of the means."""
    windows: int = 3
    """That must agree, one after the other: a pan that swings meets its mean twice in a period."""
    sigmas: float = 5.0
    """How many standard deviations of a difference of two means they may differ; hum and drift are not white."""
    least_counts: float = 4.0
    """They may differ by this much at least: a converter that shows one count only has no noise to be reckoned from."""
    timeout_s: float = 30.0
    """Patience, in rig time; masses on a pan come to rest in a few seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledReading:
    """What the cell showed: mean and standard deviation of one sample, in counts."""

    mean_counts: float
    sd_counts: float
    samples: int
    time_s: float
    """Middle of the reading, by the rig's clock."""
    settled: bool
    why_not: str = ""
    """What was still going on when the patience was at its end."""
    begun_again: int = 0
    """How often samples were lost on the cable and the reading began anew."""


class SettleWatch:
    """Takes samples in pieces of any size and says when the reading is there. No port, no clock."""

    def __init__(self, sample_rate_hz: float, settings: SettleSettings | None = None) -> None:
        self.settings = settings or SettleSettings()
        self._length = max(2, round(self.settings.window_s * sample_rate_hz))
        self._kept = RawTrace.none()
        self._first_us: int | None = None
        self._gaps = 0

    def feed(self, trace: RawTrace) -> SettledReading | None:
        """Take some samples; return the reading as soon as it is settled or the patience is at its end.

        Raises ReadingLost if the patience ends without one window that has no gap.
        """
        if not len(trace):
            return None
        if self._first_us is None:
            self._first_us = int(trace.tick_us[0])
        self._keep(trace)
        windows = self._windows()
        if len(windows) >= self.settings.windows:
            last = windows[-self.settings.windows :]
            if np.ptp(_means(last)) <= self._allowed(last):
                return self._reading(last, "")
        waited_s = (int(trace.tick_us[-1]) - self._first_us) * 1e-6
        return self._at_an_end(windows) if waited_s >= self.settings.timeout_s else None

    def _keep(self, trace: RawTrace) -> None:
        """Add samples; those before the last gap are dropped, and so are windows that nobody will look at again."""
        joined = RawTrace.joined([self._kept, trace])
        gaps = np.flatnonzero(np.diff(joined.sample_number) != 1)
        if len(gaps):
            self._gaps += len(gaps)
            joined = joined.part(slice(int(gaps[-1]) + 1, None))
        whole = len(joined) // self._length - self.settings.windows
        self._kept = joined.part(slice(max(0, whole) * self._length, None))

    def _windows(self) -> list[RawTrace]:
        count = len(self._kept) // self._length
        return [self._kept.part(slice(k * self._length, (k + 1) * self._length)) for k in range(count)]

    def _allowed(self, windows: Sequence[RawTrace]) -> float:
        """Return how far apart means of windows may lie, in counts."""
        # the quietest window is the one in which nothing happened
        noise = min(_noise(window.force_counts) for window in windows)
        white = self.settings.sigmas * noise * float(np.sqrt(2.0 / self._length))
        return max(white, self.settings.least_counts)

    def _at_an_end(self, windows: list[RawTrace]) -> SettledReading:
        if not windows:
            raise ReadingLost(self._gaps, self.settings.timeout_s)
        means = _means(windows)
        if len(windows) < self.settings.windows:
            why = f"samples were lost {self._gaps} times on the cable"
        else:
            why = f"means of {self.settings.window_s:g} s still differ by {np.ptp(means):.0f} counts"
        return self._reading(windows[-self.settings.windows :], why)

    def _reading(self, windows: Sequence[RawTrace], why_not: str) -> SettledReading:
        all_of_it = RawTrace.joined(windows)
        return SettledReading(
            mean_counts=float(np.mean(all_of_it.force_counts)),
            sd_counts=float(np.std(all_of_it.force_counts, ddof=1)),
            samples=len(all_of_it),
            time_s=float(all_of_it.tick_us[0] + all_of_it.tick_us[-1]) / 2.0 * 1e-6,
            settled=not why_not,
            why_not=why_not,
            begun_again=self._gaps,
        )


def _means(windows: Sequence[RawTrace]) -> NDArray[np.float64]:
    return np.array([np.mean(window.force_counts) for window in windows])


def _noise(counts: NDArray[np.int32]) -> float:
    """Return the standard deviation of white noise, from the mean square of successive differences."""
    return float(np.sqrt(np.mean(np.diff(counts.astype(np.float64)) ** 2) / 2.0))


def read_settled(sitting: Sitting, settings: SettleSettings | None = None) -> SettledReading:
    """Wait until the cell has come to rest and return what it shows; the rig must be streaming.

    Raises ReadingLost, and DaqError and its kinds when the rig is not heard any more.
    """
    rate_hz = sitting.rig.info.sample_rate_hz
    if rate_hz is None:
        raise RigMisbehaved("it does not say how many samples a second it sends")
    watch, heard = SettleWatch(rate_hz, settings), Listener()
    sitting.session.start_stream()  # it runs already; but the answer comes behind all samples from before the question
    with sitting.recorder.listening(heard.add):
        while True:
            sitting.session.attend(LOOK_EVERY_S)
            reading = watch.feed(heard.take())
            if reading is not None:
                return reading
