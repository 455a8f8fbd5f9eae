"""Friction that can stick: the LuGre model.

How it works: the surfaces touch with bristles. A bristle bends elastically (presliding: the key gives a few
micrometres before it slides), slips when the force is more than it can hold, and holds more when it has been slow
(Stribeck). No tanh: a smoothed Coulomb law would creep at rest and could never stick.

Source: Canudas de Wit, Olsson, Astrom & Lischinsky, IEEE Trans. Automatic Control 40:419 (1995).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionSpec:
    """Parameters of the LuGre model, in newton, millimetre and second."""

    coulomb_newton: float
    static_newton: float
    stribeck_mm_per_s: float = 0.3
    bristle_newton_per_mm: float = 6.0
    bristle_damping_newton_s_per_mm: float = 0.004
    viscous_newton_s_per_mm: float = 0.0002


class LuGreFriction:
    """Friction between two bodies; remembers how far its bristles are bent."""

    def __init__(self, spec: FrictionSpec) -> None:
        self.spec = spec
        self.bend_mm = 0.0

    def advance(self, velocity_mm_per_s: float, dt_s: float, grip: float = 1.0) -> float:
        """Return the force in N against the motion after dt_s at this velocity.

        grip scales what the surfaces can hold here (1: as specified). The bend follows its own differential equation
        exactly over the step, so the step may be long and the model stays stable.
        """
        spec, speed = self.spec, abs(velocity_mm_per_s)
        slowness = exp(-((speed / spec.stribeck_mm_per_s) ** 2)) if speed < 6.0 * spec.stribeck_mm_per_s else 0.0
        holds = grip * (spec.coulomb_newton + (spec.static_newton - spec.coulomb_newton) * slowness)
        bend_before = self.bend_mm
        if holds > 0.0:
            steady = holds / spec.bristle_newton_per_mm
            if velocity_mm_per_s < 0.0:
                steady = -steady
            stays = exp(-spec.bristle_newton_per_mm * speed * dt_s / holds)
            self.bend_mm = steady + (bend_before - steady) * stays
        else:
            self.bend_mm = 0.0
        return (
            spec.bristle_newton_per_mm * self.bend_mm
            + spec.bristle_damping_newton_s_per_mm * (self.bend_mm - bend_before) / dt_s
            + spec.viscous_newton_s_per_mm * velocity_mm_per_s
        )
