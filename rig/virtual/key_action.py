"""A key under the plunger: one body at the key front with everything that pushes against it.

How it works: the key is an effective mass with a balance force that lifts it, LuGre friction, a rest stop, a bond that
must break away, a damper, a let-off ridge and the key-bed felt. The plunger touches it through the bench's own give
(a stiff spring with damping that can push but not pull), so the key leaves the plunger when it cannot follow.
Time is stepped by the semi-implicit Euler rule; the step is far below the period of the stiffest spring.

Not simulated: rotation (all is reckoned at the contact point), hammer and key as two bodies, bounce off the key bed
beyond what the felt gives, side play, temperature and humidity, wear.
"""

from __future__ import annotations

from dataclasses import dataclass

from rig.virtual.elements import (
    Damper,
    DamperSpec,
    Felt,
    FeltSpec,
    Grit,
    LetOff,
    LetOffSpec,
    RestStop,
    StickBond,
)
from rig.virtual.friction import FrictionSpec, LuGreFriction


@dataclass(frozen=True, slots=True, kw_only=True)
class ActionSpec:
    """One key's mechanism in numbers."""

    effective_mass_kg: float
    balance_newton: float
    """Force that lifts the key at the top of its way."""
    spring_newton_per_mm: float
    """How much more it lifts per millimetre of way."""
    friction: FrictionSpec
    break_away_newton: float
    break_away_mm: float
    damper: DamperSpec
    letoff: LetOffSpec
    bed: FeltSpec
    rest_newton_per_mm: float = 30.0
    grit_share: float = 0.0
    grit_phases: tuple[float, ...] = (0.0, 2.0, 4.0)


class KeyAction:
    """The mechanism, moving. `key_mm` is 0 where the rest stop just touches, positive downward."""

    def __init__(self, spec: ActionSpec) -> None:
        self.spec = spec
        self.friction = LuGreFriction(spec.friction)
        self.grit = Grit(spec.grit_share, spec.grit_phases)
        self.letoff = LetOff(spec.letoff)
        self.elements = (
            RestStop(spec.rest_newton_per_mm),
            StickBond(spec.break_away_newton, spec.break_away_mm),
            Damper(spec.damper),
            self.letoff,
            Felt(spec.bed),
        )
        self.key_mm = -spec.balance_newton / spec.rest_newton_per_mm
        self.velocity_mm_per_s = 0.0

    def standing_force(self, key_mm: float) -> float:
        """Return the force in N that holds the key at a place, friction left out."""
        lift = self.spec.balance_newton + self.spec.spring_newton_per_mm * key_mm
        for element in self.elements:
            lift += element.force(key_mm)
        return lift

    def advance(self, pushing_newton: float, dt_s: float) -> None:
        """Let the key move for dt_s under a force on it."""
        resists = self.standing_force(self.key_mm) + self.friction.advance(
            self.velocity_mm_per_s, dt_s, self.grit.grip(self.key_mm)
        )
        self.velocity_mm_per_s += (pushing_newton - resists) / self.spec.effective_mass_kg * 1000.0 * dt_s
        self.key_mm += self.velocity_mm_per_s * dt_s


class Contact:
    """Where plunger and key meet: pushes, never pulls. Its stiffness is the bench's own give, see `frame.py`.

    Damping grows with the depth (Hunt & Crossley, J. Appl. Mech. 42:440, 1975), so the force starts from zero.
    """

    def __init__(
        self,
        stiffness_newton_per_mm: float,
        stiffening_newton_per_mm2: float = 0.0,
        damping_s_per_mm: float = 0.02,
    ) -> None:
        self.stiffness_newton_per_mm = stiffness_newton_per_mm
        self.stiffening_newton_per_mm2 = stiffening_newton_per_mm2
        self.damping_s_per_mm = damping_s_per_mm

    def force(self, plunger_mm: float, plunger_mm_per_s: float, action: KeyAction) -> float:
        """Return the force in N of the plunger on the key, 0 or more."""
        pressed_mm = plunger_mm - action.key_mm
        if pressed_mm <= 0.0:
            return 0.0
        closing = plunger_mm_per_s - action.velocity_mm_per_s
        stiffness = self.stiffness_newton_per_mm + self.stiffening_newton_per_mm2 * pressed_mm
        return max(0.0, stiffness * pressed_mm * (1.0 + self.damping_s_per_mm * closing))
