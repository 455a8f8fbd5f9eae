"""More checks: of how a stroke was made, of the cell, and of a key that is slow to move or late to tell.

Limits are our own choice unless a source stands beside them; they are there to be seldom wrong, not to find the least.
"""

from __future__ import annotations

import numpy as np

from processing.quality.key_evidence import KeyEvidence
from processing.stages import SPEED_OVER_MM, Branch, Finding, Stroke

UNEVEN_TIMES = 2.5
"""A trembling hand's fastest stretch is up to twice its typical one; a jerk is more."""
CLEAR_OF_ENDS_MM = 1.0
CLIPPED_MM, CLIPPED_SAMPLES = 0.05, 5
"""In so much way any key bed changes the force by several steps of any cell."""
DRIFT_NEWTON = 0.03
"""3 gf over one key: within a stroke a straight line is taken out, but a zero that runs so far seldom runs straight."""
STICKY_NEWTON = 0.10
"""10 gf more to set it moving than to keep it moving; cloth and leather take 2 to 4 gf."""


def check_strokes_are_even(key: KeyEvidence) -> Finding | None:
    """No stretch of a used stroke is passed much faster than the stroke as a whole, and faster than slow."""
    slow = key.settings.stroke.slow_mm_per_s
    worst, number = 0.0, 0
    for n, stroke in enumerate(key.strokes, 1):
        if stroke not in key.used:
            continue
        fastest, typical = _fastest_stretch(stroke.down), stroke.down.speed_mm_per_s
        if fastest > max(UNEVEN_TIMES * typical, UNEVEN_TIMES * slow, worst):
            worst, number = fastest, n
    if not number:
        return None
    return Finding(
        "uneven",
        f"stroke {number} went on by jerks: one stretch was passed at {{}} a second",
        ((worst, "mm"),),
        "move as if through honey; what it takes to speed the key up was added to its weight there",
        odd=False,
    )


def _fastest_stretch(down: Branch) -> float:
    """Return the highest speed over a stretch of SPEED_OVER_MM, away from touch and turn, mm/s."""
    way, time_s = np.maximum.accumulate(down.way_mm), down.time_s
    if not len(way) or way[-1] < 3.0 * CLEAR_OF_ENDS_MM:
        return 0.0
    places = np.arange(CLEAR_OF_ENDS_MM, way[-1] - CLEAR_OF_ENDS_MM, SPEED_OVER_MM)
    passed_s = np.diff(np.interp(places, way, time_s))
    return float(SPEED_OVER_MM / passed_s.min()) if len(passed_s) and passed_s.min() > 0.0 else 0.0


def check_the_force_is_not_cut_off(key: KeyEvidence) -> Finding | None:
    """While the plunger moves in the bed the force moves; one that stands still at its largest is cut off."""
    cut = [(n, stroke) for n, stroke in enumerate(key.strokes, 1) if _is_cut_off(stroke)]
    if not cut:
        return None
    most = max(float(stroke.down.force_newton.max()) for _, stroke in cut)
    return Finding(
        "clipped",
        f"the force of stroke {cut[0][0]} stands still at {{}} while the plunger moves on: its channel ends there",
        ((most, "N"),),
        "press less hard, or use a range that reaches further",
        odd=False,
    )


def _is_cut_off(stroke: Stroke) -> bool:
    """Tell whether the largest force is shown over some way and many samples in a row.

    Exactly the same but for the zero's drift, which a cell with any noise never shows.
    """
    force, way = stroke.down.force_newton, stroke.down.way_mm
    if len(force) < CLIPPED_SAMPLES:
        return False
    flat = np.abs(np.diff(force)) <= 1e-5 * max(1.0, float(force.max()))
    at_most = flat & (force[1:] >= force.max() - 1e-3)
    places = np.flatnonzero(at_most)
    return len(places) >= CLIPPED_SAMPLES and float(way[places[-1] + 1] - way[places[0]]) >= CLIPPED_MM


def check_the_zero_stays(key: KeyEvidence) -> Finding | None:
    """From the first to the last stroke of a key the zero of the cell stays where it is."""
    zeros = [stroke.zero_newton for stroke in key.strokes if stroke.zero_u_newton > 0.0]  # 0: no air told of it
    moved = max(zeros) - min(zeros) if zeros else 0.0
    if moved <= DRIFT_NEWTON:
        return None
    return Finding(
        "drift",
        "the zero of the cell moved by {} while this key was recorded",
        ((moved, "N"),),
        "let the rig warm up, keep draughts and hands off it, then record the key again",
        odd=False,
    )


def check_the_key_sets_out_freely(key: KeyEvidence) -> Finding | None:
    """A key takes little more to be set moving than to be kept moving."""
    breaks = key.number("breakaway")
    if breaks is None or breaks.value is None or breaks.value - (breaks.expanded or 0.0) <= STICKY_NEWTON:
        return None
    return Finding(
        "sticky",
        "setting the key in motion takes {} more than keeping it moving",
        ((breaks.value, "N"),),
        "look at the rest cloth, the bushings and whatever may have been spilt",
        odd=True,
    )


def check_the_note_is_prompt(key: KeyEvidence) -> Finding | None:
    """A note is told within the latency bound, where strokes at several speeds tell how late it is."""
    latency = key.number("note_latency")
    bound_ms = 1e3 * key.settings.feature.latency_bound_s
    if latency is None or latency.value is None or latency.value - (latency.expanded or 0.0) <= bound_ms:
        return None
    return Finding(
        "late",
        "the note is told {} after its place, where {} is the bound",
        ((latency.value, "ms"), (bound_ms, "ms")),
        "if all keys are late it is the keyboard or the way of its notes; raise the bound then",
        odd=False,
    )


STROKE_CHECKS = (
    check_strokes_are_even,
    check_the_force_is_not_cut_off,
    check_the_zero_stays,
    check_the_key_sets_out_freely,
    check_the_note_is_prompt,
)
