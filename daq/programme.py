"""What is done to one key: a stroke programme as data. The survey interprets it; nothing here moves anything."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowStrokes:
    """Approach until the key is touched, back off, then press slowly to a force and let up, several times."""

    name: str = "slow strokes"
    strokes: int = 3
    speed_mm_per_s: float = 4.0
    """Below 5 mm/s the inertia of the start ramp is under 1 gf (m v^2 / 2 d with 0.35 kg and 0.5 mm)."""
    approach_mm_per_s: float = 10.0
    touch_newton: float = 0.15
    """Under the lightest balance weight, well above noise."""
    clearance_mm: float = 0.6
    """How far above the touched key each stroke starts: enough air to read the zero of the cell."""
    force_limit_newton: float = 4.0
    """Beyond the 3.0 N at which the key dip is read."""
    acceleration_mm_per_s2: float = 200.0
    rest_s: float = 0.3
    home_mm: float = 0.0

    def describe(self) -> str:
        """Return the programme in one line, for the recording."""
        return (
            f"{self.name}: {self.strokes} x {self.speed_mm_per_s:g} mm/s to {self.force_limit_newton:g} N, "
            f"from {self.clearance_mm:g} mm above touch"
        )
