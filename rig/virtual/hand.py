"""A hand on the plunger, in place of the motorised stage: it moves smoothly, trembles, yields, and feels the key.

How it works: the hand goes through stretches of motion. A reaching stretch is a minimum-jerk movement (T. Flash and
N. Hogan, J. Neurosci. 5:1688, 1985) whose pace wavers; a pressing stretch goes on until the hand has felt a force, and
is late by the time a person needs to react. On top comes physiological tremor of 8 to 12 Hz (band from memory). The
plunger hangs on this wish by a damped spring, the hand, so no place is commanded exactly; semi-implicit Euler steps,
as for the key. Seeded, and told the time.

Not simulated: fatigue, learning, a hand that pushes sideways or changes its stiffness.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import copysign, pi, sin, sqrt

import numpy as np

from rig.errors import NoMotor


@dataclass(frozen=True, slots=True, kw_only=True)
class HandSpec:
    """The hand in numbers. Invented, but for what names a source."""

    rest_mm: float = 1.5
    """Where it rests in the air, from the top of the plunger's way; keys lie about 3 mm below the top."""
    stiffness_newton_per_mm: float = 2.0
    """A braced hand; a fingertip alone has 0.2 to 0.8 (A. Hajian and R. Howe, J. Biomech. Eng. 119:109, 1997; from
    memory)."""
    mass_kg: float = 0.3
    """Plunger and what of the hand moves with it."""
    damping_ratio: float = 1.0
    reacts_in_s: float = 0.08
    tremor_mm: float = 0.04
    """Largest tremor amplitude; a hand's own lies between a quarter of this and all of it."""
    waver: float = 0.15
    """Largest share by which the pace of a movement goes up and down."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Go to a place within some time, minimum-jerk."""

    to_mm: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Glide:
    """Go to a place at one speed."""

    to_mm: float
    mm_per_s: float


@dataclass(frozen=True, slots=True)
class PressUntil:
    """Go on down until this force has been felt for the time of reaction."""

    newton: float
    mm_per_s: float


@dataclass(frozen=True, slots=True)
class Hold:
    """Keep still, as far as a hand can."""

    seconds: float


Stretch = Reach | Glide | PressUntil | Hold


def minimum_jerk(share_of_time: float) -> float:
    """Return the share of the way done after a share of the time; source: Flash & Hogan 1985, rest to rest.

    >>> minimum_jerk(0.5)
    0.5
    """
    time = min(max(share_of_time, 0.0), 1.0)
    return time**3 * (10.0 - 15.0 * time + 6.0 * time**2)


class Hand:
    """Drop-in for the motorised stage. Downward positive, mm and seconds."""

    moving = False
    """No axis of the rig moves: nothing to brake and no watchdog to trip."""

    def __init__(self, spec: HandSpec, seed: int) -> None:
        self.spec = spec
        self.screw_mm, self.screw_mm_per_s = spec.rest_mm, 0.0
        self._random = np.random.default_rng(seed)
        self._stretches: deque[Stretch] = deque()
        self._wanted_mm = self._from_mm = spec.rest_mm
        self._felt_newton = self._felt_for_s = self._into_s = self._done = self._time_s = 0.0
        self._tremor = self._a_tremor()
        self._waver = self._a_waver()
        self._wished_mm = spec.rest_mm + self._trembles_mm()

    @property
    def idle(self) -> bool:
        """True while there is nothing left to do; the hand then keeps still."""
        return not self._stretches

    @property
    def wanted_mm(self) -> float:
        """Where the hand means to be now."""
        return self._wanted_mm

    def follow(self, *stretches: Stretch) -> None:
        """Do these, after what is still to be done."""
        self._stretches += stretches

    def feel(self, force_newton: float) -> None:
        """Be told the force of the key on the plunger, at every step."""
        self._felt_newton = force_newton

    def go(self, target_mm: float, speed_mm_per_s: float, acceleration_mm_per_s2: float) -> None:
        """Refuse: a hand obeys no Move. Raises NoMotor always."""
        raise NoMotor(f"Move to {target_mm:g} mm at {speed_mm_per_s:g} mm/s, {acceleration_mm_per_s2:g} mm/s2")

    def stop(self) -> None:
        """Forget what was still to be done and keep still."""
        self._stretches.clear()

    def advance(self, dt_s: float) -> None:
        """Move for dt_s. No move of the rig ever ends here, so there is no cause to return."""
        self._time_s += dt_s
        if self._stretches and self._pursue(self._stretches[0], dt_s):
            self._stretches.popleft()
            self._from_mm, self._into_s, self._done, self._felt_for_s = self._wanted_mm, 0.0, 0.0, 0.0
            self._waver = self._a_waver()
        self._give_way(self._wanted_mm + self._trembles_mm(), dt_s)

    def plunger(self) -> tuple[float, float]:
        """Return the plunger's true place in mm and speed in mm/s."""
        return self.screw_mm, self.screw_mm_per_s

    def _trembles_mm(self) -> float:
        return sum(size * sin(2.0 * pi * hz * self._time_s + phase) for size, hz, phase in self._tremor)

    def _give_way(self, wished_mm: float, dt_s: float) -> None:
        """Move the plunger by the hand's spring and damper and by the key's force."""
        spec = self.spec
        damping = 2.0 * spec.damping_ratio * sqrt(spec.stiffness_newton_per_mm * 1000.0 * spec.mass_kg) / 1000.0
        closing_mm_per_s = (wished_mm - self._wished_mm) / dt_s - self.screw_mm_per_s
        pull = spec.stiffness_newton_per_mm * (wished_mm - self.screw_mm) + damping * closing_mm_per_s
        self.screw_mm_per_s += (pull - self._felt_newton) / spec.mass_kg * 1000.0 * dt_s
        self.screw_mm += self.screw_mm_per_s * dt_s
        self._wished_mm = wished_mm

    def _pursue(self, stretch: Stretch, dt_s: float) -> bool:
        """Go on with a stretch for dt_s; true when it is done."""
        self._into_s += dt_s
        match stretch:
            case Reach(to_mm, seconds):
                share, hz, phase = self._waver
                self._done += dt_s / seconds * (1.0 + share * sin(2.0 * pi * hz * self._into_s + phase))
                self._wanted_mm = self._from_mm + (to_mm - self._from_mm) * minimum_jerk(self._done)
                return self._done >= 1.0
            case Glide(to_mm, mm_per_s):
                left_mm = to_mm - self._wanted_mm
                self._wanted_mm += copysign(min(abs(left_mm), mm_per_s * dt_s), left_mm)
                return self._wanted_mm == to_mm
            case PressUntil(newton, mm_per_s):
                self._wanted_mm += mm_per_s * dt_s
                felt = self._felt_newton >= newton
                self._felt_for_s = self._felt_for_s + dt_s if felt else 0.0
                return self._felt_for_s >= self.spec.reacts_in_s
            case Hold(seconds):
                return self._into_s >= seconds

    def _a_waver(self) -> tuple[float, float, float]:
        """Return share, Hz and phase of the pace's ups and downs."""
        random = self._random
        return random.uniform(0.0, self.spec.waver), random.uniform(0.5, 1.5), random.uniform(0.0, 2.0 * pi)

    def _a_tremor(self) -> tuple[tuple[float, float, float], ...]:
        """Return size in mm, Hz and phase of three waves; together never more than the hand's amplitude."""
        random = self._random
        size_mm = self.spec.tremor_mm * random.uniform(0.25, 1.0)
        shares = random.dirichlet((2.0, 2.0, 2.0))
        return tuple((size_mm * share, random.uniform(8.0, 12.0), random.uniform(0.0, 2.0 * pi)) for share in shares)
