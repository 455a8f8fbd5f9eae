"""The motorised plunger stage: trapezoid moves, a lead screw that wobbles, a switch at either end of its way.

How it works: `screw_mm` is where the firmware believes the screw to be; the plunger itself may be elsewhere, by the
screw's wobble, by a jam, or because the belief was wrong from the start (`slipped_mm`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import copysign, pi, sin, sqrt

from rig.protocol.messages import Cause


@dataclass(frozen=True, slots=True, kw_only=True)
class StageSpec:
    """The stage in numbers."""

    lowest_mm: float = 0.0
    highest_mm: float = 25.0
    screw_pitch_mm: float = 1.0
    ripple_mm: float = 0.006
    """Amplitude of the screw's periodic error: the speed wobbles once a turn."""
    fastest_mm_per_s: float = 250.0
    hardest_mm_per_s2: float = 10_000.0
    switch_beyond_mm: float = 0.3
    """The end switches close this far outside the way that moves may use."""
    jam_mm: float | None = None
    """A fault: the plunger cannot get deeper than this."""
    slipped_mm: float = 0.0
    """A fault: the plunger is really this much deeper than the screw says."""


class Stage:
    """Where the plunger's carriage is and where it is going. Downward positive, mm and seconds."""

    def __init__(self, spec: StageSpec) -> None:
        self.spec = spec
        self.screw_mm = 0.0
        self.screw_mm_per_s = 0.0
        self.moving = False
        self._target_mm = self._speed = self._acceleration = 0.0
        self._wave = 2.0 * pi / spec.screw_pitch_mm

    def go(self, target_mm: float, speed_mm_per_s: float, acceleration_mm_per_s2: float) -> None:
        """Start a move; it ends by itself at the target."""
        self._target_mm, self._speed, self._acceleration = target_mm, speed_mm_per_s, acceleration_mm_per_s2
        self.moving = True

    def stop(self) -> None:
        """Brake as hard as the stage can; harmless when it stands."""
        if self.moving:
            self._acceleration = self.spec.hardest_mm_per_s2
            way = self.screw_mm_per_s**2 / (2.0 * self._acceleration)
            self._target_mm = self.screw_mm + copysign(way, self.screw_mm_per_s)

    def advance(self, dt_s: float) -> Cause | None:
        """Move for dt_s; return TARGET_REACHED in the step in which the move ends."""
        if not self.moving:
            return None
        left_mm = self._target_mm - self.screw_mm
        most_mm_per_s = min(self._speed, sqrt(2.0 * self._acceleration * abs(left_mm)), abs(left_mm) / dt_s)
        wanted = copysign(most_mm_per_s, left_mm)
        change, most = wanted - self.screw_mm_per_s, self._acceleration * dt_s
        self.screw_mm_per_s += max(-most, min(most, change))
        self.screw_mm += self.screw_mm_per_s * dt_s
        if abs(self._target_mm - self.screw_mm) < 0.001 and abs(self.screw_mm_per_s) <= 2.0 * most:
            self.screw_mm, self.screw_mm_per_s, self.moving = self._target_mm, 0.0, False
            return Cause.TARGET_REACHED
        return None

    def plunger(self) -> tuple[float, float]:
        """Return the plunger's true place in mm and speed in mm/s, the screw's wobble included."""
        phase = self._wave * self.screw_mm
        ripple = self.spec.ripple_mm
        place = self.screw_mm + ripple * sin(phase) + self.spec.slipped_mm
        if self.spec.jam_mm is not None and place > self.spec.jam_mm:
            return self.spec.jam_mm, 0.0
        return place, self.screw_mm_per_s * (1.0 + ripple * self._wave * sin(phase + pi / 2.0))

    def end_switch_closed(self) -> bool:
        """Tell whether the plunger is beyond the deeper end of its way."""
        return self.plunger()[0] > self.spec.highest_mm + self.spec.switch_beyond_mm
