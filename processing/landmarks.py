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
from processing.find_letoff import Damper, LetOff, bed_contact, crossing_mm, find_letoff, find_shoulder
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray

QUIET_FROM_MM, QUIET_TO_SHARE = 1.5, 0.38
"""Between break-away and damper a curve is plain; its unevenness there is the key's roughness."""
ROUGH_WIDTH_MM = 0.8


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
    first_contact = bed_contact(curve, dip, round(0.6 * dip / curve.step_mm), settings)
    rough = roughness(curve, QUIET_FROM_MM, QUIET_TO_SHARE * dip)
    limit = _detection_limit(curve, rough, settings)
    letoff = find_letoff(curve, dip, limit, settings)
    damper = _find_damper(curve, first_contact, letoff, limit, settings)
    if letoff.kind == "none":
        letoff = find_shoulder(curve, dip, damper, limit, settings)
    contact = first_contact
    if letoff.kind == "found" and letoff.peak is not None:
        contact = bed_contact(curve, dip, letoff.peak, settings)
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
