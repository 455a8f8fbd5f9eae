"""All that the numbers of one key rest on, gathered before they are read off."""

from __future__ import annotations

from dataclasses import dataclass

from processing.budget.calibration_lines import CalibrationDoubt
from processing.dynamics.zero_speed import ZeroSpeed
from processing.stages import Curve, StrokeNotes


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the numbers of one key rest on."""

    curve: Curve
    stroke_curves: tuple[Curve, ...]
    heavier_curve: Curve
    """The mean curve if the key's effective mass were larger by its standard uncertainty."""
    stroke_notes: tuple[StrokeNotes, ...]
    notes_heard: bool
    zero_u_newton: float
    touch_u_mm: float
    """Standard uncertainty of x = 0."""
    speed_mm_per_s: float
    flags: tuple[str, ...]
    doubt: CalibrationDoubt | None = None
    """How far the calibration may be off; None: uncalibrated, so nothing is known of it."""
    trigger: ZeroSpeed | None = None
    """Place of note-on from strokes at several speeds; None: they were of one speed, and the place is raw."""
    release: ZeroSpeed | None = None
    """The same of note-off."""
