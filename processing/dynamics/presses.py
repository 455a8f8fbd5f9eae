"""Presses that sounded: the way down, the note, and the way up, of slow and fast strokes alike.

How it works: a slow stroke is a press as it is. Of a stretch of the speed ladder the press is the way from where the
plunger last stood to the deepest place, with the rest there, and the way up behind it. The note of a press began on its
way down or while it stood at the bottom.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.dynamics.recorded import SPEED_LADDER, Recorded, Stretch
from processing.notes import AROUND_S, NoteLog
from processing.stages import Branch, Note, Stroke

STANDS_S, STANDS_MM = 0.02, 0.01
"""A plunger that gets on by less in that time stands: under 0.5 mm/s, and more than the gauge's noise."""
AT_BOTTOM_MM = 0.02
FEWEST_SAMPLES = 10


@dataclass(frozen=True, slots=True, eq=False)
class Press:
    """One press with its note."""

    name: str
    """For a reader: "slow stroke 1", or the mark's own name."""
    down: Branch
    """Until the plunger sets out for the way up."""
    up: Branch | None
    note: Note | None
    slow: bool
    """It is one of the strokes that the static numbers rest on, or was recorded beside them."""


def presses_of_strokes(strokes: tuple[Stroke, ...], log: NoteLog, *, touch_mm: float) -> list[Press]:
    """Return the strokes with their notes, x = 0 at one touch for all.

    touch_mm: of the slow strokes, on the stage's scale. A fast plunger meets the key somewhere between two samples.
    """
    return [
        Press(
            f"stroke {number}",
            _moved(stroke.down, stroke.touch_mm - touch_mm),
            None if stroke.up is None else _moved(stroke.up, stroke.touch_mm - touch_mm),
            _note_between(log, float(stroke.down.time_s[0]), float(stroke.down.time_s[-1]) + AROUND_S),
            slow=True,
        )
        for number, stroke in enumerate(strokes, 1)
        if not stroke.preloaded
    ]


def presses_of_ladder(recorded: Recorded) -> list[Press]:
    """Return the presses of the speed ladder; a stretch in which nothing went down has none."""
    found = (_press(stretch, recorded.notes) for stretch in recorded.of(SPEED_LADDER))
    return [press for press in found if press is not None]


def _press(stretch: Stretch, log: NoteLog) -> Press | None:
    way, time_s = stretch.samples.way_mm, stretch.samples.time_s
    deepest = np.flatnonzero(way >= way.max() - AT_BOTTOM_MM)
    reached, left = int(deepest[0]), int(deepest[-1])
    half = reached - int(np.argmax(way[reached::-1] <= way.max() / 2.0))
    stands = np.flatnonzero(way[:half] >= np.interp(time_s[:half] + STANDS_S, time_s, way) - STANDS_MM)
    begins = int(stands[-1]) if len(stands) else 0
    if left - begins < FEWEST_SAMPLES or way[reached] - way[begins] < 1.0:
        return None
    home = np.flatnonzero(way[left:] <= 0.0)
    ends = left + int(home[0]) if len(home) else len(way) - 1
    note = _note_between(log, float(time_s[begins]), float(time_s[left]) + AROUND_S)
    up = _part(stretch.samples, left, ends) if ends - left >= FEWEST_SAMPLES else None
    return Press(stretch.mark.name, _part(stretch.samples, begins, left), up, note, slow=False)


def _moved(samples: Branch, by_mm: float) -> Branch:
    return Branch(samples.time_s.copy(), samples.way_mm + by_mm, samples.force_newton.copy())


def _part(samples: Branch, first: int, last: int) -> Branch:
    part = slice(first, last + 1)
    return Branch(samples.time_s[part], samples.way_mm[part], samples.force_newton[part])


def _note_between(log: NoteLog, from_s: float, to_s: float) -> Note | None:
    return next((note for note in log.notes if from_s <= note.on_s <= to_s), None)
