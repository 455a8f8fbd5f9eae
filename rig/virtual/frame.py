"""What the rig's own frame gives under load, and what presses against it without moving by itself.

How it works: the frame is a spring that stiffens, F = k p + q p^2 for p millimetres of give; a real frame's joints
close as it is loaded. A reference (stop, table, block, steel spring) has no mass and no damping, so the force is
that of frame and reference in series, in closed form: the path is elastic, and up and down it is the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True, slots=True)
class Frame:
    """The frame's give."""

    stiffness_newton_per_mm: float
    stiffening_newton_per_mm2: float = 0.0

    def force_newton(self, pressed_mm: float, softness_mm_per_newton: float = 0.0) -> float:
        """Return the force when frame and reference give pressed_mm together; 0 in the air.

        softness: of the reference; 0 is rigid. From g + F / k_s = p and F = k g + q g^2, solved for the frame's g.
        >>> Frame(50.0).force_newton(0.1)
        5.0
        """
        if pressed_mm <= 0.0:
            return 0.0
        k, q = self.stiffness_newton_per_mm, self.stiffening_newton_per_mm2
        square, line = q * softness_mm_per_newton, 1.0 + k * softness_mm_per_newton
        give = 2.0 * pressed_mm / (line + sqrt(line * line + 4.0 * square * pressed_mm))
        return give * (k + q * give)

    def give_mm(self, force_newton: float) -> float:
        """Return how far the frame gives under a force of 0 or more.

        >>> Frame(50.0).give_mm(5.0)
        0.1
        """
        k, q = self.stiffness_newton_per_mm, self.stiffening_newton_per_mm2
        return 2.0 * force_newton / (k + sqrt(k * k + 4.0 * q * force_newton))


@dataclass(frozen=True, slots=True)
class Reference:
    """Something of known shape under the plunger."""

    name: str
    surface_mm: float
    """From the top of the stage."""
    softness_mm_per_newton: float = 0.0
    """0: rigid."""
