"""The rig's 32-bit counters made into ones that do not wrap: its clock of microseconds, its running sample numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

WRAP = 1 << 32
"""A counter starts again at 0 after this: for a clock of microseconds that is 71.6 minutes."""


class Unwrapper:
    """Turns 32-bit counts into 64-bit ones. They may come a little out of order, but less than half a turn."""

    def __init__(self) -> None:
        self._last: int | None = None

    def unwrap(self, count: int) -> int:
        """Return the number nearest to the last one that has these lower 32 bits."""
        if self._last is None:
            self._last = count
        behind = (count - self._last + WRAP // 2) % WRAP - WRAP // 2
        now = self._last + behind
        self._last = max(now, self._last)
        return now

    def unwrap_all(self, counts: NDArray[np.uint32]) -> NDArray[np.int64]:
        """Return the counts of a block, oldest first, shape (N,)."""
        if not len(counts):
            return np.empty(0, np.int64)
        first = self.unwrap(int(counts[0]))
        since_first: NDArray[np.int64] = (counts - counts[0]).astype(np.uint32).astype(np.int64)
        self._last = max(self._last or 0, first + int(since_first[-1]))
        return first + since_first

    def restart(self) -> None:
        """Begin anew: the counter was set back to where it starts."""
        self._last = None
