"""The places on a curve from which all numbers are read: key dip, bed contact, let-off, damper, the weights' window.

How it works: each landmark is found once by the definition in measurands.md; features then only read off. A rise, fall
or step is believed if it exceeds the detection limit: three standard errors of the smoothed curve, in which the key's
own roughness counts (a gritty key is not full of let-offs), and never less than `least_letoff_newton`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from processing.errors import FeatureNotFound
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray, LetOffKind

QUIET_FROM_MM, QUIET_TO_SHARE = 1.5, 0.38
"""Between break-away and damper a curve is plain; its unevenness there is the key's roughness."""
ROUGH_WIDTH_MM = 0.8
CONFIRM_MM = 0.2
DAMPER_OVER_MM = 0.5
"""A damper's step is over so far behind its middle."""
ROUNDING_NEWTON = 1e-9
SHOULDER_FLATTENS = 0.3
"""A shoulder: after its steepest rise the curve is this much flatter before the key bed."""

IndexArray = np.ndarray[tuple[int], np.dtype[np.intp]]


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
class Damper:
    """The damper's step."""

    position_mm: float
    step_newton: float


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
    damper = _find_damper(curve, first_contact, letoff, limit, settings)
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
    return float(1.4826 * np.median(np.abs(off)))


def _detection_limit(curve: Curve, rough_newton: float, settings: FeatureSettings) -> float:
    error = float(np.median(curve.down_u_newton))
    return max(settings.least_letoff_newton, settings.detection_sigmas * float(np.hypot(error, rough_newton)))


def _key_dip(curve: Curve, settings: FeatureSettings) -> float:
    beyond = curve.way_mm > curve.way_mm[-1] / 2
    reached = np.flatnonzero(beyond & (curve.down_newton >= settings.bed_newton))
    if not len(reached):
        most = curve.down_newton.max()
        raise FeatureNotFound(f"the strokes end at {most:.2f} N, before the {settings.bed_newton:g} N of the key bed")
    return crossing_mm(curve.way_mm, curve.down_newton, int(reached[0]), settings.bed_newton)


def crossing_mm(way: FloatArray, force: FloatArray, after: int, level: float) -> float:
    """Return where the force passes a level between the points after - 1 and after, linearly."""
    low, high = force[after - 1], force[after]
    share = min(max((level - low) / (high - low), 0.0), 1.0) if high != low else 1.0
    return float(way[after - 1] + share * (way[after] - way[after - 1]))


def _bed_contact(curve: Curve, dip_mm: float, lowest_from: int, settings: FeatureSettings) -> float:
    dip = min(int(np.ceil(dip_mm / curve.step_mm)), len(curve.way_mm) - 1)
    level = _lowest_newton(curve, lowest_from, dip, settings) + settings.contact_rise_newton
    below = lowest_from + int(np.flatnonzero(curve.down_newton[lowest_from : dip + 1] <= level)[-1])
    return crossing_mm(curve.way_mm, curve.down_newton, below + 1, level) if below < dip else float(dip_mm)


def _lowest_newton(curve: Curve, first: int, dip: int, settings: FeatureSettings) -> float:
    """Return the lowest force from a point to key dip, kept one kernel clear of the bed's bend.

    A parabola that reaches across the bend into a steep bed dips under both sides of it.
    """
    force = curve.down_newton[first : dip + 1]
    rises = int(np.flatnonzero(force <= force.min() + settings.contact_rise_newton)[-1])
    clear = rises - round(2.0 * curve.half_width_mm / curve.step_mm)
    return float(force[: clear + 1].min()) if clear > 0.2 / curve.step_mm else float(force.min())


def _mean_between(curve: Curve, force: FloatArray, from_mm: float, to_mm: float) -> float:
    first, last = max(0, round(from_mm / curve.step_mm)), round(to_mm / curve.step_mm) + 1
    return float(np.mean(force[first:last]))


def _find_letoff(curve: Curve, dip_mm: float, limit: float, settings: FeatureSettings) -> LetOff:
    """Return the local maximum with the deepest fall after it, if rise and fall exceed the limit.

    The highest and lowest of a noisy curve lie apart by chance alone, so the fall must also exceed the limit between
    means over CONFIRM_MM around both.
    """
    force, step = curve.down_newton, curve.step_mm
    dip = int(dip_mm / step)
    rising = np.diff(force[: dip + 1]) > 0
    peaks = np.flatnonzero(rising[:-1] & ~rising[1:]) + 1
    best = LetOff("none", limit)
    earliest_mm = max(settings.before_from_mm, settings.letoff_search_from * 0.8 * dip_mm)
    for peak in _high_enough(curve, peaks[peaks * step > earliest_mm], dip, limit, settings):
        lowest = _lowest_newton(curve, int(peak), dip, settings)
        before = _before_newton(curve, int(peak), settings)
        drop, rise = force[peak] - lowest, force[peak] - before
        if min(drop, rise, _confirmed_drop(curve, int(peak), lowest, dip)) <= limit or (
            best.peak is not None and drop <= force[best.peak] - (best.lowest_newton or 0)
        ):
            continue
        contact_mm = _bed_contact(curve, dip_mm, int(peak), settings)
        if settings.letoff_search_from * contact_mm <= peak * step <= contact_mm:
            best = _letoff_at(curve, int(peak), before, lowest, limit, dip, settings)
    return best


def _high_enough(
    curve: Curve, peaks: IndexArray, dip: int, limit: float, settings: FeatureSettings
) -> IndexArray:
    """Return the peaks that rise and fall by the limit at all: most bumps of a noisy curve do not."""
    force = curve.down_newton
    lowest_after = np.minimum.accumulate(force[dip::-1])[::-1]
    total = np.concatenate([[0.0], np.cumsum(force)])
    first = np.rint(peaks - settings.before_from_mm / curve.step_mm).astype(np.intp)
    last = np.rint(peaks - settings.before_to_mm / curve.step_mm).astype(np.intp) + 1
    before = (total[last] - total[first]) / (last - first)
    close_call = ROUNDING_NEWTON
    return peaks[np.minimum(force[peaks] - lowest_after[peaks], force[peaks] - before) > limit - close_call]


def _confirmed_drop(curve: Curve, peak: int, lowest: float, dip: int) -> float:
    half = round(CONFIRM_MM / 2 / curve.step_mm)
    force = curve.down_newton
    trough = peak + int(np.flatnonzero(force[peak : dip + 1] <= lowest)[0])
    top, bottom = (force[max(0, at - half) : at + half + 1] for at in (peak, trough))
    return float(top.mean() - bottom.mean())


def _before_newton(curve: Curve, peak: int, settings: FeatureSettings) -> float:
    at_mm = peak * curve.step_mm
    return _mean_between(curve, curve.down_newton, at_mm - settings.before_from_mm, at_mm - settings.before_to_mm)


def _letoff_at(
    curve: Curve, peak: int, before: float, lowest: float, limit: float, dip: int, settings: FeatureSettings
) -> LetOff:
    force = curve.down_newton
    fallen = float(force[peak] - settings.end_share * (force[peak] - lowest))
    end = peak + int(np.flatnonzero(force[peak : dip + 1] <= fallen)[0])
    end_mm = crossing_mm(curve.way_mm, force, end, fallen)
    return LetOff("found", limit, peak, _onset_mm(curve, peak, before, settings), end_mm, before, lowest)


def _onset_mm(curve: Curve, peak: int, before: float, settings: FeatureSettings) -> float | None:
    force = curve.down_newton
    level = float(before + settings.onset_share * (force[peak] - before))
    low = np.flatnonzero(force[:peak] <= level)
    return crossing_mm(curve.way_mm, force, int(low[-1]) + 1, level) if len(low) else None


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
    slope = float(np.polyfit(curve.way_mm[part], curve.down_newton[part], 1)[0])
    return max(0.0, slope) * (settings.before_from_mm + settings.before_to_mm) / 2.0


def _find_damper(
    curve: Curve, contact_mm: float, letoff: LetOff, limit: float, settings: FeatureSettings
) -> Damper | None:
    """Return the step that both ways show at the same place before the let-off, if each exceeds the limit.

    The curve's slope before the step is taken out first: a key on a spring rises everywhere.
    """
    if curve.up_newton is None:
        return None
    step = curve.step_mm
    near, far = round(0.35 / step), round(0.85 / step)
    last = round(settings.damper_to * contact_mm / step)
    if letoff.onset_mm is not None:
        last = min(last, round(letoff.onset_mm / step) - far)
    centres = np.arange(round(settings.damper_from * contact_mm / step), last)
    too_short = curve.way_mm[-1] < QUIET_FROM_MM + 1.0
    if too_short or not len(centres) or centres[-1] + far >= len(curve.way_mm) or centres[0] - far < 0:
        return None
    ways = [_without_slope(curve, force, int(centres[0]) - near) for force in (curve.down_newton, curve.up_newton)]
    down, up = (_rises(force, centres, near, far) for force in ways)
    both = np.minimum(down, up)
    best = int(np.argmax(both))
    if both[best] <= limit or max(down[best], up[best]) > 3.0 * both[best]:
        return None
    centre = centres[best : best + 1]
    both_ways = _without_slope(curve, (curve.down_newton + curve.up_newton) / 2.0, int(centre[0]) - near)
    position = _middle_mm(curve.way_mm, both_ways, int(centre[0]), near, far)
    return Damper(position, float(_rises(both_ways, centre, near, far)[0]))


def _without_slope(curve: Curve, force: FloatArray, until: int) -> FloatArray:
    """Return a force less the straight line through its part from QUIET_FROM_MM to a point."""
    quiet = slice(round(QUIET_FROM_MM / curve.step_mm), max(until, round((QUIET_FROM_MM + 0.5) / curve.step_mm)))
    slope = float(np.polyfit(curve.way_mm[quiet], force[quiet], 1)[0])
    plain: FloatArray = force - slope * curve.way_mm
    return plain


def _rises(force: FloatArray, centres: np.ndarray[tuple[int], np.dtype[np.intp]], near: int, far: int) -> FloatArray:
    """Return, for each centre, the mean force from near to far after it less that before it."""
    total = np.concatenate([[0.0], np.cumsum(force)])
    after = total[centres + far] - total[centres + near]
    before = total[centres - near] - total[centres - far]
    rises: FloatArray = (after - before) / (far - near)
    return rises


def _middle_mm(way: FloatArray, force: FloatArray, centre: int, near: int, far: int) -> float:
    """Return the place at which the step is half done."""
    low, high = force[centre - far : centre - near].mean(), force[centre + near : centre + far].mean()
    middle = float(low + high) / 2.0
    above = np.flatnonzero(force[centre - far : centre + far] >= middle)
    return crossing_mm(way, force, centre - far + int(above[0]), middle) if len(above) else float(way[centre])


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
