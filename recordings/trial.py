"""What a rig showed when it was tried before a survey: raw counts of a rest, a move in the air and a touch.

How it works: `daq/trial.py` fills it, `processing/fitness/` judges it. What was not tried says why and how to try it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from recordings.types import Calibration, Damage, RawTrace, RigInfo


@dataclass(frozen=True, slots=True)
class Untried:
    """A part of the trial that was left out."""

    why: str
    how: str
    """What to do so that it can be tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AirMove:
    """The plunger went down and up again without touching anything. Traces are of a standing plunger but `moving`."""

    commanded_mm: float
    """How far down, as the motor's controller counts its own steps."""
    at_top: RawTrace
    at_bottom: RawTrace
    back_at_top: RawTrace
    moving: tuple[RawTrace, ...]
    """On the way down and on the way up, a little standstill at both ends included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """A move down at the speed of a survey that the rig itself was to end at a force limit."""

    limit_newton: float
    """Above what the cell showed in the air."""
    speed_mm_per_s: float
    ended_by_limit: bool
    """False: the rig went on to the end of its move."""
    trace: RawTrace


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """The key under the plunger was touched, in small steps first, while the host watched the force."""

    limit_newton: float
    """What counts as touched: so much off what the cell shows in the air, up or down."""
    in_air: RawTrace
    """The plunger stands above the key."""
    on_key: RawTrace
    """The last small step, and the plunger at rest on the key after it."""
    approach: Approach | Untried


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One trial of a rig, in the order in which it was made."""

    started_at: datetime
    """UTC, with its time zone."""
    rig: RigInfo
    calibration: Calibration
    force_range_newton: float
    """The cell shows no more than this in either direction."""
    travel_mm: tuple[float, float]
    rest: RawTrace
    """Nothing moves."""
    air: AirMove | Untried
    touch: Touch | Untried
    damage: tuple[Damage, ...]
    """On the cable, since the rig was greeted."""

    def traces(self) -> tuple[RawTrace, ...]:
        """Return every stretch of samples of the trial, in the order of time."""
        found = [self.rest]
        if isinstance(self.air, AirMove):
            found += [self.air.at_top, self.air.moving[0], self.air.at_bottom, *self.air.moving[1:]]
            found += [self.air.back_at_top]
        if isinstance(self.touch, Touch):
            found += [self.touch.in_air, self.touch.on_key]
            if isinstance(self.touch.approach, Approach):
                found.append(self.touch.approach.trace)
        return tuple(found)
