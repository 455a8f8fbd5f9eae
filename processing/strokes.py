"""From a press to a Stroke: the zero of the cell, the touch, the give of the rig, new ground only.

How it works: before it touches the key the plunger hangs in the air, and what the cell shows there is its zero; after
the stroke likewise, and between the two the zero is taken to drift along a straight line. Air is recognised by the
loop: a plunger in the air shows the same force before and after a stroke, one that rests on a key shows the friction
between them. Without air the zero is believed as recorded, and a stroke that starts loaded says `preloaded`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy.ndimage import uniform_filter1d

from processing.calibrate import noise_sigma
from processing.new_ground import to_branch
from processing.segment import AT_REST_MM, Span, alone
from processing.selection import median
from processing.settings import StrokeSettings
from processing.stages import BoolArray, CalibratedTrace, FloatArray, Stroke

IndexArray = np.ndarray[tuple[int], np.dtype[np.intp]]
FEWEST_AIR_SAMPLES = 8
QUIET_NEWTON = 0.015
"""Force is averaged over as many samples as bring its noise down to this before it is held against touch_force."""
CLEAR_OF_TOUCH_MM, SAMPLES_CLEAR_OF_TOUCH = 0.05, 3
HAIR_MM = 0.005
COUNT_BEHIND = 6
JUMP = 4.0
"""A force that jumps by so many touch forces from one sample to the next says nothing of where between them."""
RINGS_SHARE = 0.75
"""A key that rings under the plunger is in touch this much of the time; noise in the air is not."""
MOST_DIFFERENCE_MM = 1.0
"""Touching and leaving the key happen at nearly the same place."""
EARLY_SHARE = 0.3
"""A level that only one end of the stroke shows is believed to be air if the key was touched within this share of the
way: a later rise may be a damper or the key bed."""


@dataclass(frozen=True, slots=True)
class _Level:
    """What the cell shows in the air near one end of a stroke: mean, its standard error, and when."""

    newton: float
    u_newton: float
    time_s: float
    in_air_mm: float
    """How far the plunger moved through this air; 0: it only rested there."""
    early: bool
    """The key was touched early on the way, as it is by a plunger that sets out above it."""


def to_stroke(trace: CalibratedTrace, span: Span, settings: StrokeSettings) -> Stroke:
    """Return one press with zero and give taken out and x = 0 at touch."""
    trace, span = alone(trace, span)
    sigma = noise_sigma(trace.force_newton[span.start : span.turn + 1])
    let_up = _was_let_up(trace, span)
    before, after = _air_levels(trace, span, settings, sigma, let_up)
    zero = _zero_over_time(trace.time_s, before, after)
    force = trace.force_newton - zero
    way = trace.displacement_mm - trace.give_mm(force)
    touch_mm, loaded = _touch(way[span.start : span.turn + 1], force[span.start : span.turn + 1], sigma, settings)
    preloaded = loaded and before is None  # after air a first loaded sample is the touch itself
    if preloaded:
        touch_mm = float(np.median(way[_rest_before(trace.displacement_mm, span) : span.start + 1]))
    way -= touch_mm
    down, strict_down = to_branch(trace, way, force, slice(span.start, span.turn + 1), settings, downward=True)
    up = strict_up = None
    if let_up:
        up, strict_up = to_branch(trace, way, force, slice(span.lift, span.end + 1), settings, downward=False)
    levels = [level for level in (before, after) if level is not None]
    return Stroke(
        down,
        up,
        touch_mm,
        float(zero[span.start]) if levels else 0.0,
        float(np.mean([level.u_newton for level in levels])) if levels else 0.0,
        preloaded,
        float(down.way_mm[-1]),
        tuple((level.time_s, level.newton) for level in levels),
        stricter=None if strict_down is down and strict_up is up else (strict_down, strict_up),
    )


def _was_let_up(trace: CalibratedTrace, span: Span) -> bool:
    way = trace.displacement_mm
    return bool(way[span.turn] - way[span.end] > 0.5 * (way[span.turn] - way[span.start]))


def _zero_over_time(time_s: FloatArray, before: _Level | None, after: _Level | None) -> FloatArray:
    if before is None or after is None:
        known = before or after
        return np.full(len(time_s), known.newton if known else 0.0)
    share = time_s - before.time_s
    share /= after.time_s - before.time_s
    np.clip(share, 0.0, 1.0, out=share)
    share *= after.newton - before.newton
    share += before.newton
    return share


def _air_levels(
    trace: CalibratedTrace, span: Span, settings: StrokeSettings, sigma: float, let_up: bool
) -> tuple[_Level | None, _Level | None]:
    """Return the levels of the air before and after the stroke, None where the plunger was not in the air."""
    rest = _rest_before(trace.displacement_mm, span)
    before = _air_at_start(trace, slice(rest, span.turn + 1), settings, sigma)
    if not let_up:
        sure = before is not None and before.early and before.in_air_mm >= settings.air_mm
        return (before if sure else None), None
    resting = before is not None and before.in_air_mm < settings.air_mm
    if before is not None and resting and not _presses_back(trace, span, before.newton, settings):
        before = None
    backward = slice(span.lift, _rest_after(trace.displacement_mm, span) + 1)
    after = _air_at_start(trace, backward, settings, sigma, backward=True)
    if before is None and after is None:
        return _point_levels(trace, span, settings, sigma)
    if before is None or after is None:
        return _one_sided(trace, span, settings, sigma, before, after)
    if abs(before.newton - after.newton) <= settings.level_differs_newton + 3.0 * (before.u_newton + after.u_newton):
        return _shorter(before, after)
    start_mm, end_mm = trace.displacement_mm[span.start], trace.displacement_mm[span.end]
    if after.newton < before.newton and end_mm < start_mm - settings.air_mm:
        return None, after
    if before.newton < after.newton and start_mm < end_mm - settings.air_mm:
        return before, None
    return None, None


def _shorter(before: _Level, after: _Level) -> tuple[_Level | None, _Level | None]:
    """Return both levels, but not one that reaches much further: there a weak key was taken for air."""
    if before.in_air_mm > after.in_air_mm + MOST_DIFFERENCE_MM:
        return None, after
    if after.in_air_mm > before.in_air_mm + MOST_DIFFERENCE_MM:
        return before, None
    return before, after


def _one_sided(
    trace: CalibratedTrace,
    span: Span,
    settings: StrokeSettings,
    sigma: float,
    before: _Level | None,
    after: _Level | None,
) -> tuple[_Level | None, _Level | None]:
    """Return the one level found if it is air: touched early, no less force at the other end, and, after the stroke,
    above where the stroke set out or clearly under what the key presses."""
    way, force = trace.displacement_mm, trace.force_newton
    known, other = (before, force[span.end]) if before is not None else (after, force[span.start])
    if known is None or not known.early or other < known.newton - settings.level_differs_newton - 3.0 * sigma:
        return None, None
    if before is None:
        above = way[span.end] < way[span.start] - settings.air_mm
        if not above and not _presses_back(trace, span, known.newton, settings):
            return None, None
    return before, after


def _presses_back(trace: CalibratedTrace, span: Span, level_newton: float, settings: StrokeSettings) -> bool:
    """Tell whether, on the way up and half a millimetre before its end, the key still presses clearly above a level.

    If not, the plunger that showed this level at rest did not hang free: it rested on the key.
    """
    up = slice(span.lift, span.end + 1)
    way, force = trace.displacement_mm[up][::-1], trace.force_newton[up][::-1]
    place = trace.displacement_mm[span.start] + 0.5
    return bool(np.interp(place, np.maximum.accumulate(way), force) >= level_newton + settings.level_differs_newton)


def _rest_before(way: FloatArray, span: Span) -> int:
    """Return the first index of the rest from which the stroke set out."""
    moved = np.flatnonzero(np.abs(way[span.before : span.start + 1] - way[span.start]) > AT_REST_MM)
    return span.before + int(moved[-1]) + 1 if len(moved) else span.before


def _rest_after(way: FloatArray, span: Span) -> int:
    moved = np.flatnonzero(np.abs(way[span.end : span.after + 1] - way[span.end]) > AT_REST_MM)
    return span.end + int(moved[0]) - 1 if len(moved) else span.after


def _air_at_start(
    trace: CalibratedTrace, part: slice, settings: StrokeSettings, sigma: float, *, backward: bool = False
) -> _Level | None:
    """Return the level before the force rises, None if it rises at once or never."""
    turn = -1 if backward else 1
    time_s, way, force = (array[part][::turn] for array in (trace.time_s, trace.displacement_mm, trace.force_newton))
    close = np.flatnonzero(way > way[0] + settings.air_mm)
    first = max(int(close[0]) if len(close) else 0, 1)
    level = median(force[:first])
    for _ in range(2):  # the second time from all of the air, not only its beginning
        quiet = _quiet(force, sigma)
        rise = _first_lasting(quiet > level + settings.touch_newton / 2, way, settings.touch_stays_mm)
        if rise is None:
            return None
        before_rise = way[: max(rise - SAMPLES_CLEAR_OF_TOUCH, 0)]
        air = np.flatnonzero((before_rise <= way[0] + HAIR_MM) | (before_rise < way[rise] - CLEAR_OF_TOUCH_MM))
        if len(air) < FEWEST_AIR_SAMPLES:
            return None
        level = float(np.mean(force[air]))
    in_air_mm = float(way[rise] - way[0])
    early = in_air_mm <= EARLY_SHARE * float(way.max() - way[0])
    return _Level(level, sigma / np.sqrt(len(air)), float(np.mean(time_s[air])), in_air_mm, early)


def _point_levels(
    trace: CalibratedTrace, span: Span, settings: StrokeSettings, sigma: float
) -> tuple[_Level | None, _Level | None]:
    """Return levels of a stroke that starts and ends right at the key: believed if the loop closes there and is open
    further down, where friction holds it open."""
    way, force = trace.displacement_mm, trace.force_newton
    down, up = slice(span.start, span.turn + 1), slice(span.lift, span.end + 1)
    level = float(np.median(force[span.start : span.start + 3]))
    last = float(np.median(force[span.end - 2 : span.end + 1]))
    if abs(level - last) > settings.level_differs_newton / 2 + 3.0 * sigma:
        return None, None
    inside = float(way[span.start]) + 1.0
    there = float(np.interp(inside, np.maximum.accumulate(way[down]), force[down]))
    back = float(np.interp(inside, np.maximum.accumulate(way[up][::-1]), force[up][::-1]))
    if there - back < settings.level_differs_newton or min(there, back) < level + settings.level_differs_newton:
        return None, None
    u_newton = max(sigma, settings.level_differs_newton / 10)
    starts_s, ends_s = (float(trace.time_s[index]) for index in (span.start, span.end))
    return _Level(level, u_newton, starts_s, 0.0, True), _Level(last, u_newton, ends_s, 0.0, True)


def _quiet(force: FloatArray, sigma: float) -> FloatArray:
    count = min(ceil((sigma / QUIET_NEWTON) ** 2), max(len(force) // 20, 1))
    return force if count <= 1 else uniform_filter1d(force, count | 1, mode="nearest")


def _first_lasting(above: BoolArray, way: FloatArray, stays_mm: float) -> int | None:
    """Return the first index from which a condition holds for at least stays_mm of way (or to the end).

    A light key that is met by the plunger rings on the rig's give and may let go of it for an instant: a start so near
    before that the condition holds most of the time between belongs to it.
    """
    falls = np.flatnonzero(~above)
    starts = np.flatnonzero(above & ~np.concatenate([[False], above[:-1]]))
    for number, start in enumerate(starts):
        later = falls[np.searchsorted(falls, start) :]
        ends_mm = way[later[0]] if len(later) else np.inf
        if ends_mm - way[start] >= stays_mm:
            return _first_of_ringing(above, way, starts[: number + 1], stays_mm)
    return None


def _first_of_ringing(above: BoolArray, way: FloatArray, starts: IndexArray, stays_mm: float) -> int:
    """Return the earliest of the starts that hangs together with the last one."""
    first = int(starts[-1])
    for start in starts[-2::-1]:
        if way[first] - way[start] > stays_mm or np.mean(above[start:first]) < RINGS_SHARE:
            break
        first = int(start)
    return first


def _touch(way: FloatArray, force: FloatArray, sigma: float, settings: StrokeSettings) -> tuple[float, bool]:
    """Return the place of touch on the stage's scale, and whether the very first sample was loaded."""
    quiet = _quiet(force, sigma)
    first = _first_lasting(quiet >= settings.touch_newton, way, settings.touch_stays_mm)
    if (
        first is None
        or first == 0
        or (way[first] - way[0] < settings.new_ground_mm and quiet[0] >= settings.touch_newton)
    ):
        return float(way[0]), True
    if quiet is not force and quiet[first:][:COUNT_BEHIND].max() > JUMP * settings.touch_newton:
        quiet, first = force, _edge(force, first)
    low, high = quiet[first - 1], quiet[first]
    share = (settings.touch_newton - low) / (high - low) if high > low else 1.0
    if high > JUMP * settings.touch_newton:  # the key was met somewhere between two samples
        share = 0.5
    return float(way[first - 1] + share * (way[first] - way[first - 1])), False


def _edge(force: FloatArray, first: int) -> int:
    """Return the sample with which the force jumps: an average over samples has seen the jump too early."""
    behind = force[first + COUNT_BEHIND // 2 : first + 2 * COUNT_BEHIND]
    if not len(behind):
        return first
    jumped = np.flatnonzero(force[first : first + COUNT_BEHIND] >= float(np.median(behind)) / 2.0)
    return first + int(jumped[0]) if len(jumped) else first
