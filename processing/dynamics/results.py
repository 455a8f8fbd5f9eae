"""What the dynamic steps have shown of a key, beside its numbers: for verdicts, tables and pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from processing.dynamics.lifts import Bracket, Lift
from processing.dynamics.repetition import Row
from processing.dynamics.response import Response
from processing.dynamics.zero_speed import ZeroSpeed
from processing.stages import Measurement

Sustain = Literal["none", "narrow", "clear"]


@dataclass(frozen=True, slots=True, eq=False)
class KeyDynamics:
    """All that was seen; None or empty: not recorded, or not to be told."""

    trigger: ZeroSpeed | None = None
    release: ZeroSpeed | None = None
    response: Response | None = None
    lifts: tuple[Lift, ...] = ()
    bracket: Bracket | None = None
    rows: tuple[Row, ...] = ()


def sustain_verdict(window: Measurement, clear_mm: float) -> Sustain | None:
    """Return what a sustain window is worth, None if it was not measured.

    `clear` and `none` are said only where the 95 % interval bears them out; what lies between, or may, is `narrow`.
    """
    if window.value is None:
        return None
    over_mm = window.expanded or 0.0
    if window.value - over_mm >= clear_mm:
        return "clear"
    return "none" if window.value + over_mm <= 0.0 else "narrow"
