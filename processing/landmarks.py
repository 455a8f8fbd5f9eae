"""The places on a curve from which all numbers are read: key dip, bed contact, let-off, damper, the weights' window.

How it works: each landmark is found once by the definition in measurands.md; features then only read off. A rise, fall
or step is believed if it exceeds the detection limit: three standard errors of the smoothed curve, in which the key's
own roughness counts (a gritty key is not full of let-offs), never less than `least_letoff_newton`, and so much that
noise alone reaches it no more often than `letoff_false_alarm` (`chance_fall.py`; that counts for noisy curves only).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.chance_fall import chance_fall
from processing.damper import QUIET_FROM_MM, Damper, find_damper
from processing.errors import FeatureNotFound
from processing.find_letoff import LetOff, bed_contact, find_letoff, find_shoulder
from processing.selection import median, sums
from processing.settings import FeatureSettings
from processing.stages import Curve
from processing.straight import crossing_mm

QUIET_TO_SHARE = 0.38
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
    limit = _detection_limit(curve, rough, dip, settings)
    letoff = find_letoff(curve, dip, limit, settings)
    damper = find_damper(curve, first_contact, letoff.onset_mm, limit, settings)
    if letoff.kind == "none":
        letoff = find_shoulder(curve, dip, damper, limit, settings)
    contact = first_contact if letoff.contact_mm is None else letoff.contact_mm
    return Landmarks(dip, contact, letoff, damper, _window(curve, contact, letoff, damper, settings), rough)


def roughness(curve: Curve, from_mm: float, to_mm: float) -> float:
    """Return how uneven the way down is, in N: robust standard deviation about its own running mean.

    The mean runs over ROUGH_WIDTH_MM, so slopes and slow bends do not count and waves shorter than that do.
    """
    width = max(3, round(ROUGH_WIDTH_MM / curve.step_mm))
    first, last = round(from_mm / curve.step_mm), round(to_mm / curve.step_mm)
    if first < width // 2 or last - first < width or last + width // 2 >= len(curve.way_mm):
        return 0.0
    half = width // 2
    total = sums(curve.down_newton[first - half : last + half])
    off = curve.down_newton[first:last] - (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1)
    return float(1.4826 * median(np.abs(off)))


def _detection_limit(curve: Curve, rough_newton: float, dip_mm: float, settings: FeatureSettings) -> float:
    error = median(curve.down_u_newton)
    searched_mm = (1.0 - settings.letoff_search_from) * dip_mm
    by_chance = chance_fall(curve, way_mm=searched_mm, rate=settings.letoff_false_alarm)
    return max(
        settings.least_letoff_newton,
        settings.detection_sigmas * float(np.hypot(error, rough_newton)),
        by_chance * max(error, rough_newton),
    )


def _key_dip(curve: Curve, settings: FeatureSettings) -> float:
    beyond = curve.way_mm > curve.way_mm[-1] / 2
    reached = np.flatnonzero(beyond & (curve.down_newton >= settings.bed_newton))
    if not len(reached):
        most = curve.down_newton.max()
        raise FeatureNotFound(f"the strokes end at {most:.2f} N, before the {settings.bed_newton:g} N of the key bed")
    return crossing_mm(curve.way_mm, curve.down_newton, int(reached[0]), settings.bed_newton)


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
