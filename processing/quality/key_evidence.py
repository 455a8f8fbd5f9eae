"""What a check may look at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from processing.landmarks import Landmarks
from processing.notes import NoteLog
from processing.settings import Settings
from processing.stages import CalibratedTrace, Curve, Measurement, Stroke, StrokeNotes


@dataclass(frozen=True, slots=True)
class KeyEvidence:
    """What a check may look at. `strokes` are all presses, `used` those that the numbers rest on."""

    trace: CalibratedTrace
    strokes: tuple[Stroke, ...]
    used: tuple[Stroke, ...]
    curve: Curve
    marks: Landmarks | None
    notes: NoteLog
    stroke_notes: tuple[StrokeNotes, ...]
    """One for each of `strokes`."""
    settings: Settings
    numbers: Mapping[str, Measurement] = field(default_factory=dict)
    """The key's measurements by name."""

    def number(self, name: str) -> Measurement | None:
        """Return a measurement that has a value, None otherwise."""
        measured = self.numbers.get(name)
        return measured if measured is not None and measured.value is not None else None
