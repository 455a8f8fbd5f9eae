"""What the load cell shows in the air: unknown at first, drifting, and learnt while pressing goes on.

How it works: a key pushes, it never pulls; so the air is the lowest quiet stretch (150 ms) of the force. Each such
plateau is remembered, and its level counts as higher the older it is, by the most a cell drifts: an old low one cannot
rule for ever. The zero is the mean of the newest plateaus that agree with the lowest.
"""

from __future__ import annotations

from collections import deque
from math import sqrt

PLATEAU_BINS, EVERY_BINS = 15, 5
QUIET_NEWTON = 0.02
"""Standard deviation within a plateau: above the noisiest cell at 100 Hz (0.012 N), below a hand on a key at rest."""
DRIFT_NEWTON_PER_S = 0.1 / 60.0
"""Twice the drift a cell may have."""
REMEMBERED_S = 60.0
AGREES_NEWTON = 0.012
"""Four standard deviations of a plateau's mean with the noisiest cell."""
NEWEST = 6
LOWER_NEWTON = 0.02
"""A 50 ms mean below the zero by so much is no noise: the zero was loaded."""


class AirZero:
    """Follows the zero of the cell, bin by bin."""

    def __init__(self) -> None:
        self.newton: float | None = None
        """None: nothing quiet was seen yet."""
        self._latest: deque[float] = deque(maxlen=PLATEAU_BINS)
        self._since = 0
        self._plateaus: deque[tuple[float, float]] = deque()

    def feed(self, time_s: float, shown_newton: float, *, in_the_air: bool) -> None:
        """Take one bin. On the key only what lies under the present zero can be news."""
        self._latest.append(shown_newton)
        self._since += 1
        if len(self._latest) < PLATEAU_BINS or self._since < EVERY_BINS:
            return
        self._since = 0
        mean = sum(self._latest) / PLATEAU_BINS
        spread = sqrt(sum((value - mean) ** 2 for value in self._latest) / (PLATEAU_BINS - 1))
        below = self.newton is None or mean < self.newton - AGREES_NEWTON
        if spread <= QUIET_NEWTON and (in_the_air or below):
            self._remember(time_s, mean)

    def restart(self, time_s: float, shown_newton: float) -> None:
        """Believe this from now on: the plunger is surely in the air, whatever was thought before."""
        self._plateaus.clear()
        self._latest.clear()
        self._remember(time_s, shown_newton)

    def forget_the_clock(self) -> None:
        """The clock was set anew: keep the zero, forget when it was seen."""
        self._plateaus.clear()
        self._latest.clear()

    def _remember(self, time_s: float, level: float) -> None:
        self._plateaus.append((time_s, level))
        while self._plateaus[0][0] < time_s - REMEMBERED_S:
            self._plateaus.popleft()
        aged = [(seen + DRIFT_NEWTON_PER_S * (time_s - when), seen) for when, seen in self._plateaus]
        lowest = min(aged)[0]
        agreeing = [seen for old, seen in aged if old <= lowest + AGREES_NEWTON][-NEWEST:]
        self.newton = sum(agreeing) / len(agreeing)
