"""The places on a curve from which all numbers are read: key dip, bed contact, let-off, damper, the weights' window.

How it works: each landmark is found once by the definition in measurands.md; features then only read off. A rise, fall
or step is believed if it exceeds the detection limit: three standard errors of the smoothed curve, in which the key's
own roughness counts (a gritty key is not full of let-offs), and never less than `least_letoff_newton`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from processing.damper import QUIET_FROM_MM, Damper, find_damper
from processing.errors import FeatureNotFound
from processing.selection import first_true, last_true, mean, median
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray, LetOffKind
from processing.straight import crossing_mm, slope_of

Points = NDArray[np.intp]
QUIET_TO_SHARE = 0.38
"""Between break-away and damper a curve is plain; its unevenness there is the key's roughness."""
ROUGH_WIDTH_MM = 0.8
CONFIRM_MM = 0.2
DAMPER_OVER_MM = 0.5
"""A damper's step is over so far behind its middle."""
SHOULDER_FLATTENS = 0.3
"""A shoulder: after its steepest rise the curve is this much flatter before the key bed."""


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


@dataclass(frozen=True, slots=True)
class Landmarks:
    """All landmarks of one curve."""

    key_dip_mm: float
    bed_contact_mm: float
    letoff: LetOff
    damper: Damper | None
    window: slice
    """Where the weights are taken, points of the curve; empty if there is no window."""
    roughness_newton: float

    def window_mm(self, curve: Curve) -> tuple[float, float] | None:
        """Return where the weights are taken, None if there is no window."""
        places = curve.way_mm[self.window]
        return (float(places[0]), float(places[-1])) if len(places) else None


def find_landmarks(curve: Curve, settings: FeatureSettings) -> Landmarks:
    """Return the landmarks of a curve. Raises FeatureNotFound if the key bed was never reached."""
    dip = _key_dip(curve, settings)
    if dip < settings.before_from_mm:
        raise FeatureNotFound(
            f"the key takes {settings.bed_newton:g} N after {dip:.2f} mm already: no way to measure on"
        )
    first_contact = _bed_contact(curve, dip, round(0.6 * dip / curve.step_mm), settings)
    rough = roughness(curve, QUIET_FROM_MM, QUIET_TO_SHARE * dip)
    limit = _detection_limit(curve, rough, settings)
    letoff = _find_letoff(curve, dip, limit, settings)
    damper = find_damper(curve, first_contact, letoff.onset_mm, limit, settings)
    if letoff.kind == "none":
        letoff = _find_shoulder(curve, dip, damper, limit, settings)
    contact = first_contact
    if letoff.kind == "found" and letoff.peak is not None:
        contact = _bed_contact(curve, dip, letoff.peak, settings)
    return Landmarks(dip, contact, letoff, damper, _window(curve, contact, letoff, damper, settings), rough)


def roughness(curve: Curve, from_mm: float, to_mm: float) -> float:
    """Return how uneven the way down is, in N: robust standard deviation about its own running mean.

    The mean runs over ROUGH_WIDTH_MM, so slopes and slow bends do not count and waves shorter than that do.
    """
    width = max(3, round(ROUGH_WIDTH_MM / curve.step_mm))
    first, last = round(from_mm / curve.step_mm), round(to_mm / curve.step_mm)
    if first < width // 2 or last - first < width or last + width // 2 >= len(curve.way_mm):
        return 0.0
    off = (curve.down_newton - uniform_filter1d(curve.down_newton, width | 1))[first:last]
    return float(1.4826 * median(np.abs(off)))


def _detection_limit(curve: Curve, rough_newton: float, settings: FeatureSettings) -> float:
    error = median(curve.down_u_newton)
    return max(settings.least_letoff_newton, settings.detection_sigmas * float(np.hypot(error, rough_newton)))


def _key_dip(curve: Curve, settings: FeatureSettings) -> float:
    beyond = curve.way_mm > curve.way_mm[-1] / 2
    reached = np.flatnonzero(beyond & (curve.down_newton >= settings.bed_newton))
    if not len(reached):
        most = curve.down_newton.max()
        raise FeatureNotFound(f"the strokes end at {most:.2f} N, before the {settings.bed_newton:g} N of the key bed")
    return crossing_mm(curve.way_mm, curve.down_newton, int(reached[0]), settings.bed_newton)


def _bed_contact(curve: Curve, dip_mm: float, lowest_from: int, settings: FeatureSettings) -> float:
    dip = min(int(np.ceil(dip_mm / curve.step_mm)), len(curve.way_mm) - 1)
    level = _lowest_newton(curve, lowest_from, dip, settings) + settings.contact_rise_newton
    below = lowest_from + last_true(curve.down_newton[lowest_from : dip + 1] <= level)
    return crossing_mm(curve.way_mm, curve.down_newton, below + 1, level) if below < dip else float(dip_mm)


def _lowest_newton(curve: Curve, first: int, dip: int, settings: FeatureSettings) -> float:
    """Return the lowest force from a point to key dip, kept one kernel clear of the bed's bend.

    A parabola that reaches across the bend into a steep bed dips under both sides of it.
    """
    force = curve.down_newton[first : dip + 1]
    rises = last_true(force <= force.min() + settings.contact_rise_newton)
    clear = rises - round(2.0 * curve.half_width_mm / curve.step_mm)
    return float(force[: clear + 1].min()) if clear > 0.2 / curve.step_mm else float(force.min())


def _mean_between(curve: Curve, force: FloatArray, from_mm: float, to_mm: float) -> float:
    first, last = max(0, round(from_mm / curve.step_mm)), round(to_mm / curve.step_mm) + 1
    return mean(force[first:last])


def _find_letoff(curve: Curve, dip_mm: float, limit: float, settings: FeatureSettings) -> LetOff:
    """Return the local maximum with the deepest fall after it, if rise and fall exceed the limit.

    The highest and lowest of a noisy curve lie apart by chance alone, so the fall must also exceed the limit between
    means over CONFIRM_MM around both.
    """
    force, step = curve.down_newton, curve.step_mm
    dip = int(dip_mm / step)
    rising = np.diff(force[: dip + 1]) > 0
    peaks = np.flatnonzero(rising[:-1] & ~rising[1:]) + 1
    best, deepest = LetOff("none", limit), 0.0
    earliest_mm = max(settings.before_from_mm, settings.letoff_search_from * 0.8 * dip_mm)
    for peak, at_most in _promising(force[: dip + 1], peaks[peaks * step > earliest_mm], step, limit, settings):
        if at_most <= deepest:
            break
        lowest = _lowest_newton(curve, int(peak), dip, settings)
        before = _before_newton(curve, int(peak), settings)
        drop, rise = force[peak] - lowest, force[peak] - before
        if drop <= deepest or min(drop, rise, _confirmed_drop(curve, int(peak), lowest, dip)) <= limit:
            continue
        contact_mm = _bed_contact(curve, dip_mm, int(peak), settings)
        if settings.letoff_search_from * contact_mm <= peak * step <= contact_mm:
            best, deepest = _letoff_at(curve, int(peak), before, lowest, limit, dip, settings), drop
    return best


def _promising(
    force: FloatArray, peaks: Points, step: float, limit: float, settings: FeatureSettings
) -> Iterator[tuple[int, float]]:
    """Yield the peaks that may rise and fall by more than the limit, each with the most that it may fall, that first.

    A noisy curve has many peaks; sums and minima that run over the whole curve tell at once which are worth a look.
    """
    falls = force[peaks] - np.minimum.accumulate(force[::-1])[::-1][peaks]
    total = np.concatenate([[0.0], np.cumsum(force)])
    ends_mm = (settings.before_from_mm, settings.before_to_mm)
    first, last = (np.rint(peaks - way_mm / step).astype(np.intp) for way_mm in ends_mm)
    rises = force[peaks] - (total[last + 1] - total[first]) / (last + 1 - first)
    worth = np.flatnonzero(np.minimum(falls, rises) > limit)
    for place in worth[np.argsort(-falls[worth], kind="stable")]:
        yield int(peaks[place]), float(falls[place])


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
    curve: Curve, peak: int, before: float, lowest: float, limit: float, dip: int, settings: FeatureSettings
) -> LetOff:
    force = curve.down_newton
    fallen = float(force[peak] - settings.end_share * (force[peak] - lowest))
    end = peak + first_true(force[peak : dip + 1] <= fallen)
    end_mm = crossing_mm(curve.way_mm, force, end, fallen)
    return LetOff("found", limit, peak, _onset_mm(curve, peak, before, settings), end_mm, before, lowest)


def _onset_mm(curve: Curve, peak: int, before: float, settings: FeatureSettings) -> float | None:
    force = curve.down_newton
    level = float(before + settings.onset_share * (force[peak] - before))
    low = force[:peak] <= level
    return crossing_mm(curve.way_mm, force, last_true(low) + 1, level) if low.any() else None


def _find_shoulder(
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
    for top in flat[(flat * step >= first_mm) & (flat * step < dip_mm)]:
        before = _before_newton(curve, int(top), settings)
        steepest = float(slope[max(0, top - round(settings.before_to_mm / step)) : top].max())
        flattened = slope[top] <= SHOULDER_FLATTENS * steepest
        higher = best.peak is None or force[top] > force[best.peak]
        if flattened and higher and force[top] - before - _plain_rise(curve, int(top), settings) > 1.5 * limit:
            onset_mm = _onset_mm(curve, int(top), before, settings)
            best = LetOff("shoulder", limit, int(top), onset_mm, float(curve.way_mm[top]), before, float(force[top]))
    return best


def _plain_rise(curve: Curve, top: int, settings: FeatureSettings) -> float:
    """Return how much the force would have risen to a shoulder's top anyway, at the slope that it had before."""
    first = round((top * curve.step_mm - settings.before_from_mm - 0.5) / curve.step_mm)
    last = round((top * curve.step_mm - settings.before_to_mm) / curve.step_mm)
    part = slice(max(0, first), last)
    slope = slope_of(curve.way_mm[part], curve.down_newton[part])
    return max(0.0, slope) * (settings.before_from_mm + settings.before_to_mm) / 2.0


def _window(curve: Curve, contact_mm: float, letoff: LetOff, damper: Damper | None, settings: FeatureSettings) -> slice:
    """Return the window of the weights, empty if it would be narrower than the narrowest allowed."""
    ends = []
    if letoff.onset_mm is not None:
        ends.append(letoff.onset_mm - settings.window_before_onset_mm)
    if damper is not None:
        ends.append(damper.position_mm - settings.window_before_damper_mm)
    end_mm = min(ends) if ends else settings.window_share_of_contact * contact_mm
    if end_mm - settings.window_from_mm < settings.narrowest_window_mm:
        return slice(0, 0)
    return slice(round(settings.window_from_mm / curve.step_mm), round(end_mm / curve.step_mm) + 1)
