"""Which findings of the checks fail a key, and which make its numbers doubtful, if a limits file does not say.

How it works: a finding that calls the key odd fails it. Of those about the recording some leave every number as it is
(a stray note, a few wild samples, strokes that were not used); the others keep the key from being passed or failed.
"""

from __future__ import annotations

FAIL = ("stays_down", "weak_return", "gritty", "note_missing", "note_doubled", "note_stuck", "sticky")
"""Findings about the key."""
CANNOT_TELL = (
    "no_stroke",
    "implausible_travel",
    "fast",
    "preloaded",
    "gap",
    "uneven",
    "clipped",
    "drift",
    "single_stroke",
    "late",
    "note_bytes_unread",
)
"""Findings about the recording that touch its numbers."""
HARMLESS = ("stray_note", "strokes_left_out", "wild_samples")
"""Findings about the recording whose numbers stand: what was left out was not used."""
FINDINGS = (*FAIL, *CANNOT_TELL, *HARMLESS)

CALIBRATION_FLAGS = ("uncalibrated", "calibration_expired", "calibration_foreign")
DOUBTFUL_FLAGS = {
    "uncalibrated": "rests on scales that are only stated",
    "calibration_expired": "rests on an expired calibration",
    "calibration_foreign": "rests on another rig's calibration",
    "outside_calibrated_range": "lies beyond what was calibrated",
    "gritty": "is of a gritty key, which may hide a faint notch or damper",
    "preloaded": "rests on a stroke that started on the loaded key",
    "fast": "rests on strokes that were too fast",
    "single_stroke": "rests on a single stroke",
    "stroke_left_out": "rests on strokes of which one lay far off the others",
    "lifts_disagree": "rests on lifts that disagree",
    "lower_bound": "is only known to be at least that",
}
"""Flags with which a number is not judged, and how that is said of it."""
