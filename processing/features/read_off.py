"""What every feature is given: a curve, its landmarks and the notes; and the small readings many features share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.errors import FeatureNotFound
from processing.find_letoff import LetOff
from processing.landmarks import Landmarks
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray

NOT_HEARD = "no note events were recorded"
"""Why a note has no place, if nobody knows whether it sounded."""


@dataclass(frozen=True, slots=True)
class NotePlaces:
    """Places of the note on this curve, mm from touch; the reason where there is none."""

    trigger_mm: float | None
    release_mm: float | None
    speed_mm_per_s: float | None
    """Mean speed over the last millimetre before note-on."""
    why_not: str
    plunger_at_trigger_mm_per_s: float = 0.0
    plunger_at_release_mm_per_s: float = 0.0
    """How fast the plunger was just then: a late note is told at a place that much further on."""


@dataclass(frozen=True, slots=True)
class ReadOff:
    """A curve ready to be read: everything a feature needs and nothing else."""

    curve: Curve
    marks: Landmarks
    notes: NotePlaces
    settings: FeatureSettings

    def up_newton(self) -> FloatArray:
        """Return the force on the way up. Raises FeatureNotFound if the key was not let up."""
        if self.curve.up_newton is None:
            raise FeatureNotFound("the key was not let up in this recording")
        return self.curve.up_newton

    def letoff(self) -> LetOff:
        """Return a let-off that rises and falls. Raises FeatureNotFound if there is none, with the limit."""
        letoff = self.marks.letoff
        if letoff.kind == "none":
            raise FeatureNotFound(
                f"no let-off: no rise and fall above the detection limit of {letoff.limit_newton:.3f} N"
            )
        return letoff

    def peaked_letoff(self) -> LetOff:
        """Return a let-off that has a peak. Raises FeatureNotFound if there is none."""
        letoff = self.letoff()
        if letoff.kind == "shoulder" or letoff.peak is None:
            raise FeatureNotFound("a shoulder, not a peak: the force rises and does not fall")
        return letoff

    def peak_mm(self) -> float:
        """Return the place of the let-off's peak. Raises FeatureNotFound if there is no peak."""
        peak_mm = self.peaked_letoff().peak_mm
        assert peak_mm is not None
        return peak_mm

    def trigger_mm(self) -> float:
        """Return the place of note-on. Raises FeatureNotFound if there is none."""
        if self.notes.trigger_mm is None:
            raise FeatureNotFound(self.notes.why_not)
        return self.notes.trigger_mm

    def release_mm(self) -> float:
        """Return the place of note-off. Raises FeatureNotFound if there is none."""
        if self.notes.release_mm is None:
            raise FeatureNotFound(self.notes.why_not)
        return self.notes.release_mm

    def largest_down(self, from_mm: float, to_mm: float) -> float:
        """Return the largest force on the way down between two places."""
        return float(np.max(self.curve.down_newton[self.between(from_mm, to_mm)]))

    def between(self, from_mm: float, to_mm: float) -> slice:
        """Return the points from one place to another. Raises FeatureNotFound if there are none."""
        step, count = self.curve.step_mm, len(self.curve.way_mm)
        first, last = max(0, round(from_mm / step)), min(count, round(to_mm / step) + 1)
        if last <= first:
            raise FeatureNotFound(f"nothing was recorded between {from_mm:.2f} and {to_mm:.2f} mm")
        return slice(first, last)
