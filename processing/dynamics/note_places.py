"""Places of the note on a curve, where strokes of several speeds have told them at zero speed.

How it works: the line to zero speed takes the place of the mean over strokes, in the curve of the key and in those of
its single strokes alike, for the scatter of the strokes is in the line already. What the line is unsure of goes to
every number by reading it again with the note moved by so much. The bound for a latency that nobody knows falls out.
"""

from __future__ import annotations

from dataclasses import replace

from processing.dynamics.zero_speed import ZeroSpeed
from processing.features.read_off import NotePlaces


def at_zero_speed(places: NotePlaces, trigger: ZeroSpeed | None, release: ZeroSpeed | None) -> NotePlaces:
    """Return the places with those that a line has told; at zero speed a late note is told where it began."""
    if trigger is not None and places.trigger_mm is not None:
        places = replace(places, trigger_mm=trigger.place_mm, plunger_at_trigger_mm_per_s=0.0)
    if release is not None and places.release_mm is not None:
        places = replace(places, release_mm=release.place_mm, plunger_at_release_mm_per_s=0.0)
    return places


def off_by_u(places: NotePlaces, trigger: ZeroSpeed | None, release: ZeroSpeed | None) -> NotePlaces:
    """Return the places moved by the standard uncertainty of their lines; no number hangs on both."""
    if trigger is not None and places.trigger_mm is not None:
        places = replace(places, trigger_mm=places.trigger_mm + trigger.place_u_mm)
    if release is not None and places.release_mm is not None:
        places = replace(places, release_mm=places.release_mm + release.place_u_mm)
    return places
