"""Is this press, and this key, as it should be? Each check is one law; what it finds has words, numbers and advice."""

from __future__ import annotations

import numpy as np

from processing.notes import stuck_notes
from processing.quality.key_evidence import KeyEvidence
from processing.quality.stroke_checks import STROKE_CHECKS
from processing.stages import Finding

GRITTY_NEWTON = 0.008
"""Unevenness under 0.8 gf is what cloth and leather have; own choice, no published limit was found."""
HANGS_MM = 0.5
SHORTEST_TRAVEL_MM, LONGEST_TRAVEL_MM = 2.0, 20.0
BARELY_LIFTS_NEWTON = 0.03


def check_the_key_comes_home(key: KeyEvidence) -> Finding | None:
    """Every stroke must find the key at rest where the first one found it."""
    first_mm = key.strokes[0].touch_mm
    deep = {
        n: stroke.touch_mm - first_mm
        for n, stroke in enumerate(key.strokes, 1)
        if stroke.touch_mm - first_mm > HANGS_MM
    }
    if not deep:
        return None
    strokes, furthest = _listed(list(deep)), max(deep.values())
    return Finding(
        "stays_down",
        f"the key did not come back by itself: {strokes} found it still {{}} down",
        ((furthest, "mm"),),
        "ease friction or add return force, then record the key again",
        odd=True,
    )


def check_the_key_follows_the_plunger(key: KeyEvidence) -> Finding | None:
    """On the way up the key must press against the plunger all the way home."""
    up = key.curve.up_newton
    if up is None or key.marks is None:
        return None
    way = slice(round(0.3 / key.curve.step_mm), round(key.marks.bed_contact_mm / key.curve.step_mm))
    least = float(up[way].min()) if way.stop > way.start else BARELY_LIFTS_NEWTON
    if least >= BARELY_LIFTS_NEWTON:
        return None
    at_mm = (way.start + int(np.argmin(up[way]))) * key.curve.step_mm
    return Finding(
        "weak_return",
        "on the way up the key presses with only {} at {}",
        ((max(least, 0.0), "N"), (at_mm, "mm")),
        "it will be slow or stay down; ease friction or add return force",
        odd=True,
    )


def check_the_key_runs_smoothly(key: KeyEvidence) -> Finding | None:
    """Between break-away and damper the curve is even; three times its own error and 0.8 gf are grit."""
    if key.marks is None or any(stroke.preloaded for stroke in key.used):
        return None  # on a stroke that started part-way the plain part of the curve is not where it is looked for
    rough, error = key.marks.roughness_newton, float(np.median(key.curve.down_u_newton))
    if rough < max(GRITTY_NEWTON, 3.0 * error):
        return None
    return Finding(
        "gritty",
        "the force is uneven along the way: standard deviation {} where the noise is {}",
        ((rough, "N"), (error, "N")),
        "look for dirt or wear in the guide and the bushing",
        odd=True,
    )


def check_every_stroke_sounds(key: KeyEvidence) -> Finding | None:
    """If the recording tells of notes, every stroke from home to the bed makes one."""
    silent = [
        n for n, note in enumerate(key.stroke_notes, 1) if note.trigger_mm is None and key.strokes[n - 1] in key.used
    ]
    if not key.notes.heard or not silent:
        return None
    return Finding(
        "note_missing", f"{_listed(silent)} made no note", (), "check contact and cable, then record again", odd=True
    )


def check_notes_come_once(key: KeyEvidence) -> Finding | None:
    """A note-on while the note is sounding is a doubled note, unless the note before it was stuck."""
    last = len(key.notes.notes) - 1
    doubled = key.notes.doubled - sum(place < last for place, _ in _stuck(key))
    if not doubled:
        return None
    return Finding("note_doubled", f"{doubled} notes came twice", (), "the contact bounces; look at it", odd=True)


def check_notes_end(key: KeyEvidence) -> Finding | None:
    """A note ends when its key has come home; half a second later it is stuck."""
    stuck = _stuck(key)
    if not stuck:
        return None
    strokes = _listed(sorted({number for _, number in stuck}))
    return Finding(
        "note_stuck",
        f"the note of {strokes} did not stop though the key came home",
        (),
        "look at the contact; if events were lost on the cable, record the key again",
        odd=True,
    )


def _stuck(key: KeyEvidence) -> list[tuple[int, int]]:
    return stuck_notes(key.notes, key.strokes, recorded_until_s=float(key.trace.time_s[-1]))


def check_no_other_key_sounds(key: KeyEvidence) -> Finding | None:
    """Only the key under the plunger may sound, and on one channel."""
    if not key.notes.stray:
        return None
    text = f"{key.notes.stray} notes of other keys, or of this key on another channel than its first"
    advice = "was another key touched, or does the keyboard send on several channels?"
    return Finding("stray_note", text, (), advice, odd=False)


def check_note_bytes_can_be_read(key: KeyEvidence) -> Finding | None:
    """MIDI data bytes mean something only after a status byte."""
    if not key.notes.orphan_bytes:
        return None
    text = f"{key.notes.orphan_bytes} MIDI bytes came before any status byte and could not be read"
    advice = (
        "the keyboard leaves repeated status bytes out; move its pedal or wheel before the press, then record again"
    )
    return Finding("note_bytes_unread", text, (), advice, odd=False)


def check_the_travel_is_that_of_a_key(key: KeyEvidence) -> Finding | None:
    """A key goes down some millimetres; far more or less is a wrong unit or a wrong column."""
    travel_mm = max(stroke.travel_mm for stroke in key.used)
    if SHORTEST_TRAVEL_MM <= travel_mm <= LONGEST_TRAVEL_MM:
        return None
    advice = "is the unit of displacement right, and is it the right column?"
    return Finding("implausible_travel", "the key seems to go {} down", ((travel_mm, "mm"),), advice, odd=False)


def check_strokes_are_slow(key: KeyEvidence) -> Finding | None:
    """Static numbers need slow strokes: inertia and viscosity add force above 5 mm/s."""
    fastest = max(stroke.down.speed_mm_per_s for stroke in key.used)
    limit = key.settings.stroke.slow_mm_per_s
    if fastest <= 1.1 * limit:
        return None
    return Finding(
        "fast",
        "strokes of {} a second where {} is slow",
        ((fastest, "mm"), (limit, "mm")),
        "press more slowly",
        odd=False,
    )


def check_no_stroke_was_left_out(key: KeyEvidence) -> Finding | None:
    """Numbers rest on strokes from home to bed, on the slow ones if there are any; the others are named."""
    left_out = [n for n, stroke in enumerate(key.strokes, 1) if stroke not in key.used]
    if not left_out:
        return None
    text = f"{_listed(left_out)} left out: too fast, or not from home to the bed"
    return Finding("strokes_left_out", text, (), "press slowly from above the key to the bed", odd=False)


def check_strokes_start_in_the_air(key: KeyEvidence) -> Finding | None:
    """A stroke that starts loaded has no zero and no touch of its own."""
    loaded = [n for n, stroke in enumerate(key.strokes, 1) if stroke.preloaded]
    if not loaded:
        return None
    return Finding("preloaded", f"{_listed(loaded)} started on the loaded key", (), "start above the key", odd=False)


def check_no_sample_is_missing(key: KeyEvidence) -> Finding | None:
    """Sample numbers rise by one, and the used curves have samples everywhere."""
    if not key.trace.gaps and not key.curve.gap.any():
        return None
    width = float(key.curve.gap.sum()) * key.curve.step_mm
    return Finding(
        "gap",
        f"samples are missing in {key.trace.gaps} places; {{}} of the curve have none",
        ((width, "mm"),),
        "record the key again",
        odd=False,
    )


def check_few_samples_are_wild(key: KeyEvidence) -> Finding | None:
    """Single samples far off their neighbours were left out; a few are chance, one in a thousand is a bad contact."""
    share = key.trace.outliers / max(1, len(key.trace.time_s))
    if share < 1e-3:
        return None
    return Finding(
        "wild_samples", f"{key.trace.outliers} wild samples were left out", (), "check cables and shielding", odd=False
    )


def check_strokes_are_repeated(key: KeyEvidence) -> Finding | None:
    """Repeatability needs two strokes at least."""
    if len(key.used) > 1 or len(key.strokes) > 1:
        return None
    return Finding(
        "single_stroke", "one stroke only: its repeatability is not known", (), "record three strokes", odd=False
    )


def _listed(strokes: list[int]) -> str:
    if len(strokes) == 1:
        return f"stroke {strokes[0]}"
    return f"strokes {', '.join(map(str, strokes[:-1]))} and {strokes[-1]}"


CHECKS = (
    check_the_key_comes_home,
    check_the_key_follows_the_plunger,
    check_the_key_runs_smoothly,
    check_every_stroke_sounds,
    check_notes_come_once,
    check_notes_end,
    check_no_other_key_sounds,
    check_note_bytes_can_be_read,
    check_the_travel_is_that_of_a_key,
    check_strokes_are_slow,
    check_no_stroke_was_left_out,
    check_strokes_start_in_the_air,
    check_no_sample_is_missing,
    check_few_samples_are_wild,
    check_strokes_are_repeated,
    *STROKE_CHECKS,
)


def run_checks(key: KeyEvidence) -> tuple[Finding, ...]:
    """Return what all checks find, in the order of CHECKS."""
    return tuple(finding for check in CHECKS if (finding := check(key)) is not None)
