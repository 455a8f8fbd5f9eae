"""The rig's 32-bit microsecond counter made into a clock that does not wrap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

WRAP_US = 1 << 32
"""The counter starts again at 0 after this: 71.6 minutes."""


class TickUnwrapper:
    """Turns 32-bit ticks into 64-bit ones. Ticks may come a little out of order, but less than half a turn."""

    def __init__(self) -> None:
        self._last_us: int | None = None

    def unwrap(self, tick_us: int) -> int:
        """Return the tick nearest to the last one that has these lower 32 bits."""
        if self._last_us is None:
            self._last_us = tick_us
        behind = (tick_us - self._last_us + WRAP_US // 2) % WRAP_US - WRAP_US // 2
        now_us = self._last_us + behind
        self._last_us = max(now_us, self._last_us)
        return now_us

    def unwrap_all(self, ticks_us: NDArray[np.uint32]) -> NDArray[np.int64]:
        """Return the ticks of a block, oldest first, shape (N,)."""
        if not len(ticks_us):
            return np.empty(0, np.int64)
        first = self.unwrap(int(ticks_us[0]))
        since_first: NDArray[np.int64] = (ticks_us - ticks_us[0]).astype(np.uint32).astype(np.int64)
        self._last_us = max(self._last_us or 0, first + int(since_first[-1]))
        return first + since_first
