"""Builders of presses whose note, latency and mass are known by construction, without the virtual rig."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.dynamics.presses import Press
from processing.settings import DynamicSettings
from processing.stages import Branch, Note
from tests.builders import Array

KNOBS = DynamicSettings()
PLACE_U_MM = 0.001
ON_MM, OFF_MM = 8.8, 5.6


@dataclass(frozen=True, kw_only=True)
class Ramp:
    """A plunger that speeds up evenly from rest, goes on, and brakes evenly: closed forms throughout."""

    speed: float
    acceleration: float = 5000.0
    to_mm: float = 9.6
    rate_hz: float = 4000.0

    def way(self, time_s: Array) -> Array:
        """Trapezoid of speed; the way is its integral."""
        ramp_s = self.speed / self.acceleration
        end_s = self.to_mm / self.speed + ramp_s
        up, down = np.clip(time_s, 0.0, ramp_s), np.clip(time_s - (end_s - ramp_s), 0.0, ramp_s)
        even = np.clip(time_s - ramp_s, 0.0, end_s - 2.0 * ramp_s)
        way: Array = (
            0.5 * self.acceleration * up**2 + self.speed * even + self.speed * down - 0.5 * self.acceleration * down**2
        )
        return way

    def times(self) -> Array:
        """From rest to a tenth of a second after the plunger has stopped."""
        return np.arange(0.0, self.to_mm / self.speed + self.speed / self.acceleration + 0.1, 1.0 / self.rate_hz)

    def bent(self, time_s: Array) -> Array:
        """Acceleration, mm/s2."""
        ramp_s = self.speed / self.acceleration
        end_s = self.to_mm / self.speed + ramp_s
        return self.acceleration * ((time_s < ramp_s).astype(float) - ((time_s > end_s - ramp_s) & (time_s < end_s)))


def a_press(
    ramp: Ramp,
    *,
    latency_s: float = 0.004,
    velocity: float | None = 64.0,
    name: str = "",
    up_speed: float = 10.0,
    on_mm: float = ON_MM,
    newton: float = 0.6,
) -> Press:
    """A press with its note, told so late; let up at an even speed."""
    time_s = ramp.times()
    way = ramp.way(time_s)
    on_s = float(np.interp(on_mm, way[: np.argmax(way) + 1], time_s[: np.argmax(way) + 1])) + latency_s
    up_s = np.arange(0.0, ramp.to_mm / up_speed, 1.0 / ramp.rate_hz)
    off_s = float(time_s[-1]) + (ramp.to_mm - OFF_MM) / up_speed + latency_s
    return Press(
        name or f"{ramp.speed:g} mm/s",
        Branch(time_s, way, np.full(len(way), newton)),
        Branch(time_s[-1] + up_s, ramp.to_mm - up_speed * up_s, np.full(len(up_s), 0.3)),
        Note(on_s, velocity, off_s),
        slow=False,
    )


SPEEDS = (4.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def a_ladder(*, latency_s: float = 0.004, speeds: tuple[float, ...] = SPEEDS) -> list[Press]:
    return [a_press(Ramp(speed=speed), latency_s=latency_s, up_speed=speed) for speed in speeds]
