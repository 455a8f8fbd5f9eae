"""What the model knows about its own keys: the definitions of measurands.md on the noise-free quasi-static curve.

How it works: a fresh mechanism is led down and up again in steps of a few micrometres, without inertia, noise or give,
and the force it needs is the true curve. The numbers are then read off that curve by the plainest code that follows
the definitions; nothing here is shared with `processing/`, so the two can be compared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.virtual.key_action import KeyAction
from rig.virtual.scenario import KeySpec

FloatArray = NDArray[np.float64]

STEP_MM = 0.002
SPEED_MM_PER_S = 4.0
TURN_NEWTON = 4.0
TOUCH_NEWTON, BED_NEWTON = 0.05, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class TrueCurve:
    """A key's quasi-static curve. way_mm (N,) from touch, both forces in N at those places."""

    way_mm: FloatArray
    down_newton: FloatArray
    up_newton: FloatArray
    touch_mm: float
    """Where touch lies on the key's own way."""


def true_curve(key: KeySpec, *, speed_mm_per_s: float = SPEED_MM_PER_S) -> TrueCurve:
    """Return the curve of a fresh key, pressed slowly to TURN_NEWTON and let up again; the plunger cannot pull.

    Friction grows with the speed: a little, but its work shows it.
    """
    action = KeyAction(key.action)
    place, dt_s = action.key_mm, STEP_MM / speed_mm_per_s
    ways, down = [place], [0.0]
    while down[-1] < TURN_NEWTON:
        place += STEP_MM
        ways.append(place)
        down.append(_led(action, place, speed_mm_per_s, dt_s))
    up = [max(0.0, _led(action, back, -speed_mm_per_s, dt_s)) for back in reversed(ways)]
    way, down_newton, up_newton = np.array(ways), np.array(down), np.array(up[::-1])
    return curve_from_touch(way, down_newton, up_newton)


def curve_from_touch(place_mm: FloatArray, down_newton: FloatArray, up_newton: FloatArray) -> TrueCurve:
    """Return the curve of forces at places on the key's own way, in steps so short that the first one meets touch."""
    touch_mm = float(np.interp(TOUCH_NEWTON, down_newton[:2], place_mm[:2]))
    return TrueCurve(place_mm - touch_mm, down_newton, up_newton, touch_mm)


def _led(action: KeyAction, place_mm: float, speed: float, dt_s: float) -> float:
    return action.standing_force(place_mm) + action.friction.advance(speed, dt_s, action.grit.grip(place_mm))


def true_features(
    key: KeySpec, *, speed_mm_per_s: float = SPEED_MM_PER_S, curve: TrueCurve | None = None
) -> dict[str, float | None]:
    """Return the true value of the measurands that slow strokes give; None: this key has none (no let-off, ...).

    Units as in the JSON contract: N, mm, mJ. curve: the key's, on an even grid, if it is at hand already.
    """
    curve = curve or true_curve(key, speed_mm_per_s=speed_mm_per_s)
    x, down, up = curve.way_mm, curve.down_newton, curve.up_newton
    dip = first_reached(x, down, BED_NEWTON, after=x[-1] / 2)
    trigger = key.note.on_mm - curve.touch_mm
    release = None if key.note.stuck else key.note.off_mm - curve.touch_mm
    peak_at = _peak(key, curve)
    lowest_from = 0.6 * dip if peak_at is None else x[peak_at]
    between = (x >= lowest_from) & (x <= dip)
    after_peak = down[between]
    contact = _last_below(x[between], after_peak, after_peak.min() + 0.10)
    truth: dict[str, float | None] = {"key_dip": dip, "bed_contact": contact}
    onset = None
    if peak_at is not None:
        letoff = _letoff(x, down, peak_at, float(after_peak.min()))
        onset = letoff["letoff_onset_position"]
        truth |= letoff
        truth["aftertouch"] = dip - letoff["letoff_peak_position"]
        truth["weight_to_letoff"] = float(down[(x >= 1.0) & (x <= onset)].max())
        truth["trigger_margin"] = trigger - letoff["letoff_peak_position"]
    damper = key.action.damper
    damper_at = None
    if damper.height_newton > 0.0:
        damper_at = damper.start_mm + damper.width_mm / 2 - curve.touch_mm
    truth |= {"damper_position": damper_at, "damper_step": damper.height_newton or None}
    truth |= _weights(x, down, up, contact, onset, damper_at)
    whole = x <= contact
    press, back = _work(x, down, contact), _work(x, up, contact)
    truth |= {
        "weight_to_note": float(down[(x >= 1.0) & (x <= trigger)].max()),
        "lift_weight": float(up[(x >= 0.3) & whole].min()),
        "breakaway": max(0.0, float(down[(x >= 0) & (x <= 1)].max() - down[(x >= 1) & (x <= 2)].mean())),
        "press_work": press,
        "return_work": back,
        "loop_work": press - back,
        "trigger_position": trigger,
        "release_position": release,
        "release_height": None if release is None else dip - release,
    }
    return truth


def _work(x: FloatArray, force: FloatArray, until_mm: float) -> float:
    """Return the integral of a force from 0 exactly to a place, in mJ: whole steps alone would lose half a step's."""
    inside = (x > 0.0) & (x < until_mm)
    places = np.concatenate([[0.0], x[inside], [until_mm]])
    return float(np.trapezoid(np.interp(places, x, force), places))


def first_reached(x: FloatArray, force: FloatArray, level: float, *, after: float) -> float:
    """Return where a force first comes to a level beyond a place."""
    reached = np.flatnonzero((x > after) & (force >= level))[0]
    return float(np.interp(level, force[reached - 1 : reached + 1], x[reached - 1 : reached + 1]))


def _last_below(x: FloatArray, force: FloatArray, level: float) -> float:
    last = int(np.flatnonzero(force <= level)[-1])
    return float(np.interp(level, force[last : last + 2], x[last : last + 2]))


def _peak(key: KeySpec, curve: TrueCurve) -> int | None:
    letoff = key.action.letoff
    if letoff.height_newton <= 0.0:
        return None
    place = curve.way_mm + curve.touch_mm
    near = np.flatnonzero((place > letoff.crest_mm - letoff.rise_mm / 2) & (place < letoff.crest_mm + letoff.fall_mm))
    top = int(near[np.argmax(curve.down_newton[near])])
    return top if near[0] < top < near[-1] else None  # on a key whose force rises faster, a hump has no top: no let-off


def _letoff(x: FloatArray, down: FloatArray, peak_at: int, lowest: float) -> dict[str, float]:
    peak_mm, peak = float(x[peak_at]), float(down[peak_at])
    before = float(down[(x >= peak_mm - 2.5) & (x <= peak_mm - 1.5)].mean())
    rise, drop = peak - before, peak - lowest
    rising = x < peak_mm
    onset = _last_below(x[rising], down[rising], before + 0.1 * rise)
    fallen = peak - 0.9 * drop
    end_at = int(np.flatnonzero((x > peak_mm) & (down <= fallen))[0])
    end = float(np.interp(-fallen, -down[end_at - 1 : end_at + 1], x[end_at - 1 : end_at + 1]))
    over = (x >= onset) & (x <= end)
    return {
        "letoff_peak_position": peak_mm,
        "letoff_peak_force": peak,
        "letoff_onset_position": onset,
        "letoff_end_position": end,
        "letoff_rise": rise,
        "letoff_drop": drop,
        "letoff_ratio": drop / peak,
        "letoff_slope": float(-np.gradient(down, x)[peak_at : end_at + 1].min()),
        "letoff_work": float(np.trapezoid(np.maximum(down[over] - before, 0.0), x[over])),
    }


def _weights(
    x: FloatArray, down: FloatArray, up: FloatArray, contact: float, onset: float | None, damper: float | None
) -> dict[str, float]:
    ends = [onset - 0.5] if onset is not None else []
    ends += [damper - 0.7] if damper is not None else []
    window = (x >= 1.5) & (x <= (min(ends) if ends else 0.6 * contact))
    pressed, lifted = float(down[window].mean()), float(up[window].mean())
    return {
        "down_weight": pressed,
        "up_weight": lifted,
        "balance_weight": (pressed + lifted) / 2,
        "friction": (pressed - lifted) / 2,
    }
