"""The host's own guard: it watches force and travel in the stream and stops the rig when the rig has not.

How it works: it looks at every sample as it comes, in the link's thread. The rig's limits come first; this one only
acts when they have failed, so its limits lie a little outside theirs. It is no safety function: it runs on a computer.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from daq.errors import StoppedForSafety
from recordings.types import Calibration, Damage, RawEvents, RawTrace

OVER_NEWTON = 4.0
"""How far above the rig's own limit the force may shoot while a slow plunger brakes."""
SLOW_MM_PER_S = 20.0
"""A faster one meets the key with v sqrt(k m), 0.13 N for each mm/s with 50 N/mm and 0.35 kg: then the limit is the
end of the cell's range."""
OVER_MM = 1.0
"""How far outside the rig's way the gauge may show the plunger."""
SAMPLES_IN_A_ROW = 3
"""One wild sample is no overload."""


class HostGuard:
    """Watches one rig. `force_limit_newton` is what the host has told the rig, as the cell shows it."""

    def __init__(self, calibration: Calibration, travel_mm: tuple[float, float], stop: Callable[[], None]) -> None:
        self._calibration, self._travel_mm, self._stop = calibration, travel_mm, stop
        self.force_limit_newton: float | None = None
        self._over = 0

    def watch(self, news: RawTrace | RawEvents | Damage) -> None:
        """Look at what has come. Raises StoppedForSafety after having stopped the rig."""
        if not isinstance(news, RawTrace) or self.force_limit_newton is None:
            return
        newton = self._calibration.force.physical(news.force_counts)
        mm = self._calibration.displacement.physical(news.displacement_counts)
        most = self.force_limit_newton + OVER_NEWTON
        if self._in_a_row(np.abs(newton) > most):
            self._trip(f"the force passed {most:.1f} N and the rig's own limit did not stop it")
        if mm.min() < self._travel_mm[0] - OVER_MM or mm.max() > self._travel_mm[1] + OVER_MM:
            self._trip(f"the plunger left its way of {self._travel_mm[0]:g}..{self._travel_mm[1]:g} mm")

    def _in_a_row(self, over: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> bool:
        for sample in over.tolist() if over.any() else [False]:
            self._over = self._over + 1 if sample else 0
            if self._over >= SAMPLES_IN_A_ROW:
                return True
        return False

    def _trip(self, why: str) -> None:
        self._stop()
        raise StoppedForSafety(why, by="the host stopped the rig")
