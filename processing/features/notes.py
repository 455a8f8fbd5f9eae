"""The note on the way: where it starts and stops. Definitions: measurands.md, Note events.

With strokes at one speed the places are raw, and the latency's bound widens their uncertainty.
"""

from __future__ import annotations

from processing.errors import FeatureNotFound
from processing.features.read_off import ReadOff


def trigger_position(key: ReadOff) -> float:
    """Place of note-on on the way down, mm."""
    return key.trigger_mm()


def release_position(key: ReadOff) -> float:
    """Place of note-off on the way up, mm."""
    return key.release_mm()


def release_height(key: ReadOff) -> float:
    """How far the key has risen from key dip when the note ends, mm."""
    return key.marks.key_dip_mm - key.release_mm()


def trigger_margin(key: ReadOff) -> float:
    """Note-on less the let-off's peak, mm; positive: the note comes after the notch."""
    return key.trigger_mm() - key.peak_mm()


def speed_at_trigger(key: ReadOff) -> float:
    """Mean speed over the last millimetre before note-on, mm/s."""
    key.trigger_mm()
    if key.notes.speed_mm_per_s is None:
        raise FeatureNotFound("less than 1 mm was recorded before note-on")
    return key.notes.speed_mm_per_s
