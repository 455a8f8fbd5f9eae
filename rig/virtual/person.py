"""A person at the bench: is told what to do, presses, rests in the air between, treads on the switch, moves the rig.

How it works: a queue of tasks. When the hand has nothing left to do, the next task is turned into stretches of motion
with a size, pace and pause of its own. `act` is called by the bench once a sample; places are those of the hand.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, get_args

import numpy as np

from rig.virtual.hand import Glide, Hand, HandSpec, Hold, PressUntil, Reach, Stretch

PressKind = Literal["good", "too_fast", "uneven", "short", "not_home", "preloaded"]
PRESS_KINDS: tuple[PressKind, ...] = get_args(PressKind)
KEY_MM, BED_MM = 3.0, 12.6
"""Where a person expects the key's surface and its bed, from the top of the plunger's way; keys differ a little."""
PEDAL_US = 80_000
"""How long a foot stays on the switch."""
PRESS_NEWTON, RUN_UP_MM = 5.0, 1.0
"""How hard a person presses on a reference, and from how far above it at an even speed."""
TIME_FOR_MEAN = 0.8 / 0.5052
"""A minimum-jerk movement does the middle 80 % of its way in 50.52 % of its time."""


@dataclass(frozen=True, slots=True)
class Tread:
    """Step on the foot switch."""


@dataclass(frozen=True, slots=True)
class MoveTo:
    """Lift the plunger, carry the rig to another key."""

    station: int


@dataclass(frozen=True, slots=True)
class Rest:
    """Let go and wait."""

    seconds: float


@dataclass(frozen=True, slots=True)
class PressOn:
    """Press evenly on what stands there until PRESS_NEWTON is felt, and let go as evenly."""

    surface_mm: float
    mm_per_s: float
    """Of the hand's wish; what the plunger presses on makes it slower."""


Task = PressKind | Tread | MoveTo | Rest | PressOn


class VirtualPerson:
    """Hand, foot and the rig's place, seeded."""

    def __init__(self, *, station: int, seed: int, hand: HandSpec | None = None) -> None:
        self.station = station
        """The key over which the person holds the rig."""
        self._random = np.random.default_rng(seed)
        self.hand = Hand(hand or HandSpec(), seed + 1)
        self._tasks: deque[Task] = deque()
        self._goes_to: int | None = None
        self._foot_up_us: int | None = None

    @property
    def idle(self) -> bool:
        """True when all is done."""
        return not self._tasks and self.hand.idle and self._goes_to is None and self._foot_up_us is None

    def press(self, kind: PressKind) -> None:
        """Press once in this manner. After `not_home` the hand stays part-way until the next task."""
        self._tasks.append(kind)

    def press_on(self, surface_mm: float, mm_per_s: float) -> None:
        """Press once on something whose surface is there, at an even speed."""
        self._tasks.append(PressOn(surface_mm, mm_per_s))

    def tread(self) -> None:
        """Step on the foot switch and off again."""
        self._tasks.append(Tread())

    def move_to(self, station: int) -> None:
        """Lift the plunger and carry the rig to another of the bench's keys."""
        self._tasks.append(MoveTo(station))

    def rest(self, seconds: float) -> None:
        """Let go of the key and rest in the air."""
        self._tasks.append(Rest(seconds))

    def act(self, tick_us: int) -> tuple[int, ...]:
        """Begin the next task if the hand is free; return the bytes of the foot switch now: 1 down, 0 up."""
        if self._foot_up_us is not None and tick_us >= self._foot_up_us:
            self._foot_up_us = None
            return (0,)
        if not self.hand.idle or self._foot_up_us is not None:
            return ()
        if self._goes_to is not None:
            self.station, self._goes_to = self._goes_to, None
        return self._begin(self._tasks.popleft(), tick_us) if self._tasks else ()

    def _begin(self, task: Task, tick_us: int) -> tuple[int, ...]:
        match task:
            case Tread():
                self._foot_up_us = tick_us + PEDAL_US
                return (1,)
            case MoveTo(station):
                self._goes_to = station
                self.hand.follow(*self._up(), Hold(1.0))
            case Rest(seconds):
                self.hand.follow(*self._up(), Hold(seconds))
            case PressOn(surface_mm, mm_per_s):
                self.hand.follow(*self._up(), *self._press_evenly(surface_mm - RUN_UP_MM, mm_per_s))
            case _:
                self.hand.follow(*self._up(), *_PRESSES[task](self))
        return ()

    def _press_evenly(self, from_mm: float, mm_per_s: float) -> tuple[Stretch, ...]:
        rest_mm = self.hand.spec.rest_mm
        down = self._reach(rest_mm, from_mm, self._between(6.0, 10.0)), Hold(0.3)
        evenly = PressUntil(PRESS_NEWTON, mm_per_s), Glide(from_mm, mm_per_s), Hold(0.3)
        return *down, *evenly, self._reach(from_mm, rest_mm, self._between(6.0, 10.0)), Hold(self._between(0.3, 0.8))

    def _between(self, low: float, high: float) -> float:
        return float(self._random.uniform(low, high))

    def _up(self) -> tuple[Stretch, ...]:
        """Let go, if the hand is not in the air already."""
        rest_mm = self.hand.spec.rest_mm
        if self.hand.wanted_mm < rest_mm + 0.5:
            return ()
        return self._reach(self.hand.wanted_mm, rest_mm, self._between(4.0, 7.0)), Hold(self._between(0.3, 0.8))

    def _reach(self, from_mm: float, to_mm: float, mean_mm_per_s: float) -> Reach:
        """Go there with this mean speed over the middle 80 % of the way."""
        return Reach(to_mm, max(0.1, TIME_FOR_MEAN * abs(to_mm - from_mm) / mean_mm_per_s))

    def _to_the_bed(self, from_mm: float, mean_mm_per_s: float) -> tuple[Stretch, ...]:
        aim_mm = BED_MM + self._between(-0.3, 0.5)
        harder = PressUntil(self._between(4.0, 5.0), 2.0)
        return self._reach(from_mm, aim_mm, mean_mm_per_s), harder, Hold(self._between(0.05, 0.3))

    def _home(self, mean_mm_per_s: float) -> tuple[Stretch, ...]:
        """Come up from the bed (the hand means to be deeper than it is) and rest in the air."""
        to_mm = self.hand.spec.rest_mm + self._between(-0.3, 0.3)
        return self._reach(BED_MM + 2.0, to_mm, mean_mm_per_s), Hold(self._between(0.3, 1.2))

    def _slow(self) -> float:
        return self._between(2.8, 3.8)

    def _good(self) -> tuple[Stretch, ...]:
        return *self._to_the_bed(self.hand.spec.rest_mm, self._slow()), *self._home(self._slow())

    def _too_fast(self) -> tuple[Stretch, ...]:
        return *self._to_the_bed(self.hand.spec.rest_mm, self._between(18.0, 60.0)), *self._home(self._slow())

    def _short(self) -> tuple[Stretch, ...]:
        rest_mm, turn_mm = self.hand.spec.rest_mm, KEY_MM + self._between(3.0, 7.0)
        down = self._reach(rest_mm, turn_mm, self._slow())
        return down, Hold(0.1), self._reach(turn_mm, rest_mm, self._slow()), Hold(self._between(0.3, 1.2))

    def _not_home(self) -> tuple[Stretch, ...]:
        rests_mm = KEY_MM + self._between(2.0, 6.0)
        up = self._reach(BED_MM + 2.0, rests_mm, self._slow())
        return *self._to_the_bed(self.hand.spec.rest_mm, self._slow()), up, Hold(self._between(1.2, 2.0))

    def _preloaded(self) -> tuple[Stretch, ...]:
        onto = self._reach(self.hand.spec.rest_mm, KEY_MM - 0.3, 3.0)
        lean = PressUntil(self._between(0.15, 0.22), 0.7)
        wait = Hold(self._between(1.0, 1.8))
        return onto, lean, wait, *self._to_the_bed(KEY_MM, self._slow()), *self._home(self._slow())

    def _uneven(self) -> tuple[Stretch, ...]:
        ways = (self._with_stops, self._with_a_step_back, self._with_a_dash)
        return *ways[self._random.integers(len(ways))](), *self._home(self._slow())

    def _with_stops(self) -> tuple[Stretch, ...]:
        places = (self.hand.spec.rest_mm, KEY_MM + self._between(2.0, 3.5), KEY_MM + self._between(5.0, 7.0))
        first, second = (self._reach(a, b, self._slow()) for a, b in pairwise(places))
        pauses = Hold(self._between(0.7, 1.5)), Hold(self._between(0.7, 1.5))
        return first, pauses[0], second, pauses[1], *self._to_the_bed(places[2], self._slow())

    def _with_a_step_back(self) -> tuple[Stretch, ...]:
        turn_mm = KEY_MM + self._between(3.5, 7.0)
        back_mm = turn_mm - self._between(0.7, 1.3)
        down = self._reach(self.hand.spec.rest_mm, turn_mm, self._slow())
        return down, self._reach(turn_mm, back_mm, 3.0), *self._to_the_bed(back_mm, self._slow())

    def _with_a_dash(self) -> tuple[Stretch, ...]:
        from_mm = KEY_MM + self._between(2.0, 4.0)
        slowly = self._reach(self.hand.spec.rest_mm, from_mm, self._between(2.0, 3.0))
        dash = self._reach(from_mm, from_mm + 4.0, self._between(20.0, 40.0))
        return slowly, dash, *self._to_the_bed(from_mm + 4.0, self._between(2.0, 3.0))


_PRESSES: dict[PressKind, Callable[[VirtualPerson], tuple[Stretch, ...]]] = {
    "good": VirtualPerson._good,
    "too_fast": VirtualPerson._too_fast,
    "uneven": VirtualPerson._uneven,
    "short": VirtualPerson._short,
    "not_home": VirtualPerson._not_home,
    "preloaded": VirtualPerson._preloaded,
}
