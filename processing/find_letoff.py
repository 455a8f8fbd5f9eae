"""Where the let-off is: the local maximum with the deepest fall after it, or a shoulder; and where the key bed begins.

How it works: every local maximum of the curve is a candidate, those first that may fall deepest; most bumps of a noisy
curve are dismissed at a glance. A rise and a fall are believed if they exceed the detection limit. Definitions:
measurands.md, Let-off.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy.ndimage import uniform_filter1d

from processing.chance_fall import CONFIRM_MM
from processing.damper import Damper
from processing.kink import top_shift_mm
from processing.selection import first_true, last_true, mean
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray, LetOffKind
from processing.straight import crossing_mm, extreme_mm, slope_of

IndexArray = np.ndarray[tuple[int], np.dtype[np.intp]]
DAMPER_OVER_MM = 0.5
"""A damper's step is over so far behind its middle."""
SHOULDER_FLATTENS = 0.3
"""A shoulder: after its steepest rise the curve is this much flatter before the key bed."""
KERNELS_CLEAR_OF_BED = (2.0, 1.5, 1.0, 0.5)
"""The bend of the bed lies before the place where it has risen by contact_rise, and the kernel dips on either side."""
STILL_FALLS_MM = 0.03
"""A lowest force so near to the end of the part that is looked at is no lowest yet."""


@dataclass(frozen=True, slots=True)
class LetOff:
    """The let-off, or that there is none. `peak` is an index into the curve."""

    kind: LetOffKind
    limit_newton: float
    """The detection limit that was in force."""
    peak: int | None = None
    onset_mm: float | None = None
    end_mm: float | None = None
    before_newton: float | None = None
    lowest_newton: float | None = None
    """Lowest force between the peak and key dip."""
    peak_mm: float | None = None
    """Place of the peak, where it was before smoothing moved it (`kink.py`); None: there is no peak."""
    contact_mm: float | None = None
    """Where the key bed begins, seen from the peak."""


def find_letoff(curve: Curve, dip_mm: float, limit: float, settings: FeatureSettings) -> LetOff:
    """Return the local maximum with the deepest fall after it, if rise and fall exceed the limit.

    The highest and lowest of a noisy curve lie apart by chance alone, so the fall must also exceed the limit between
    means over CONFIRM_MM around both.
    """
    force, step = curve.down_newton, curve.step_mm
    dip = _point_of(curve, dip_mm)
    best, deepest = LetOff("none", limit), 0.0
    earliest_mm = max(settings.before_from_mm, settings.letoff_search_from * 0.8 * dip_mm)
    for peak, at_most in _deepest_first(force[: dip + 1], int(earliest_mm / step) + 1):
        if at_most <= max(deepest, limit):
            break
        before = _before_newton(curve, peak, settings)
        if force[peak] - before <= limit:
            continue
        lowest = _lowest_newton(curve, peak, dip, settings)
        drop = float(force[peak]) - lowest
        if drop <= max(deepest, limit) or _confirmed_drop(curve, peak, lowest, dip) <= limit:
            continue
        contact_mm = _contact_mm(curve, dip_mm, peak, lowest + settings.contact_rise_newton)
        if settings.letoff_search_from * contact_mm <= peak * step <= contact_mm:
            best, deepest = _letoff_at(curve, peak, before, lowest, contact_mm, limit, dip, settings), drop
    return best


def _point_of(curve: Curve, dip_mm: float) -> int:
    """Return the first point at which key dip is reached."""
    return min(ceil(dip_mm / curve.step_mm), len(curve.way_mm) - 1)


def _deepest_first(force: FloatArray, first: int) -> list[tuple[int, float]]:
    """Return the local maxima from a point on, each with the most that it may fall, that first."""
    rising = force[first:] > force[first - 1 : -1]
    peaks = np.flatnonzero(rising[:-1] > rising[1:])
    behind = force[first:]
    falls = behind[peaks] - np.minimum.accumulate(behind[::-1])[::-1][peaks]
    order = np.argsort(-falls, kind="stable")
    return list(zip((first + peaks[order]).tolist(), falls[order].tolist(), strict=True))


def _confirmed_drop(curve: Curve, peak: int, lowest: float, dip: int) -> float:
    half = round(CONFIRM_MM / 2 / curve.step_mm)
    force = curve.down_newton
    trough = peak + first_true(force[peak : dip + 1] <= lowest)
    top, bottom = (force[max(0, at - half) : at + half + 1] for at in (peak, trough))
    return mean(top) - mean(bottom)


def _before_newton(curve: Curve, peak: int, settings: FeatureSettings) -> float:
    at_mm = peak * curve.step_mm
    return _mean_between(curve, curve.down_newton, at_mm - settings.before_from_mm, at_mm - settings.before_to_mm)


def _letoff_at(
    curve: Curve,
    peak: int,
    before: float,
    lowest: float,
    contact_mm: float,
    limit: float,
    dip: int,
    settings: FeatureSettings,
) -> LetOff:
    force = curve.down_newton
    top = float(force[peak])
    fallen = top - settings.end_share * (top - lowest)
    end = peak + first_true(force[peak : dip + 1] <= fallen)
    end_mm = crossing_mm(curve.way_mm, force, end, fallen)
    onset_mm = _onset_mm(curve, peak, before, settings)
    peak_mm = extreme_mm(force, peak, curve.step_mm) - top_shift_mm(curve, peak, top - max(before, lowest))
    return LetOff("found", limit, peak, onset_mm, end_mm, before, lowest, peak_mm, contact_mm)


def _onset_mm(curve: Curve, peak: int, before: float, settings: FeatureSettings) -> float | None:
    force = curve.down_newton
    level = float(before + settings.onset_share * (force[peak] - before))
    low = force[:peak] <= level
    return crossing_mm(curve.way_mm, force, last_true(low) + 1, level) if low.any() else None


def find_shoulder(
    curve: Curve, dip_mm: float, damper: Damper | None, limit: float, settings: FeatureSettings
) -> LetOff:
    """Return a rise without a fall: steep, then much flatter again before the key bed; of several the highest."""
    step, force = curve.step_mm, curve.down_newton
    slope = np.gradient(uniform_filter1d(force, round(CONFIRM_MM / step) | 1), step)
    flat = np.flatnonzero((np.diff(slope[:-1]) < 0) & (np.diff(slope[1:]) >= 0)) + 1
    first_mm = max(0.55 * dip_mm, settings.before_from_mm + 1.0)
    if damper is not None:  # the force before must be read after the damper's step, or the step would be the rise
        first_mm = max(first_mm, damper.position_mm + DAMPER_OVER_MM + settings.before_from_mm)
    best = LetOff("none", limit)
    for top in flat[(flat * step >= first_mm) & (flat * step < dip_mm)].tolist():
        higher = best.peak is None or force[top] > force[best.peak]
        before = _before_newton(curve, top, settings)
        if not higher or force[top] - before <= 1.5 * limit:
            continue
        steepest = float(slope[max(0, top - round(settings.before_to_mm / step)) : top].max())
        flattened = slope[top] <= SHOULDER_FLATTENS * steepest
        if flattened and force[top] - before - _plain_rise(curve, top, settings) > 1.5 * limit:
            onset_mm = _onset_mm(curve, top, before, settings)
            best = LetOff("shoulder", limit, top, onset_mm, float(curve.way_mm[top]), before, float(force[top]))
    return best


def _plain_rise(curve: Curve, top: int, settings: FeatureSettings) -> float:
    """Return how much the force would have risen to a shoulder's top anyway, at the slope that it had before."""
    first = round((top * curve.step_mm - settings.before_from_mm - 0.5) / curve.step_mm)
    last = round((top * curve.step_mm - settings.before_to_mm) / curve.step_mm)
    part = slice(max(0, first), last)
    slope = slope_of(curve.way_mm[part], curve.down_newton[part])
    return max(0.0, slope) * (settings.before_from_mm + settings.before_to_mm) / 2.0


def _mean_between(curve: Curve, force: FloatArray, from_mm: float, to_mm: float) -> float:
    first, last = max(0, round(from_mm / curve.step_mm)), round(to_mm / curve.step_mm) + 1
    return mean(force[first:last])


def _lowest_newton(curve: Curve, first: int, dip: int, settings: FeatureSettings) -> float:
    """Return the lowest force from a point to key dip, kept as clear of the bed's bend as the way between allows.

    A parabola that reaches across the bend into a steep bed dips under both sides of it. Where the bed follows close
    on the let-off the force still falls at the end of the clear part, and the lowest lies nearer to the bend.
    """
    force = curve.down_newton[first : dip + 1]
    rises = last_true(force <= force.min() + settings.contact_rise_newton)
    still = max(1, round(STILL_FALLS_MM / curve.step_mm))
    for kernels in KERNELS_CLEAR_OF_BED:
        part = force[: max(0, rises - round(kernels * curve.half_width_mm / curve.step_mm)) + 1]
        if int(np.argmin(part)) < len(part) - still:
            return float(part.min())
    return float(force.min())


def bed_contact(curve: Curve, dip_mm: float, lowest_from: int, settings: FeatureSettings) -> float:
    """Return where the key bed begins, mm; lowest_from: the point from which on the lowest force is sought."""
    lowest = _lowest_newton(curve, lowest_from, _point_of(curve, dip_mm), settings)
    return _contact_mm(curve, dip_mm, lowest_from, lowest + settings.contact_rise_newton)


def _contact_mm(curve: Curve, dip_mm: float, first: int, level: float) -> float:
    """Return the place, mm, from which on the force, followed from a point to key dip, stays above a level."""
    dip = _point_of(curve, dip_mm)
    below = first + last_true(curve.down_newton[first : dip + 1] <= level)
    return crossing_mm(curve.way_mm, curve.down_newton, below + 1, level) if below < dip else float(dip_mm)
