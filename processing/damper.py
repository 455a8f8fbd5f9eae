"""The damper's step: a rise on a key's way at which its damper is taken along, the same on both ways.

How it works: for every place between two shares of the way to bed contact, the mean force a little after it is held
against that a little before it; the place at which both ways rise most is the damper's, if each rises by more than the
detection limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.selection import mean, sums
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray
from processing.straight import crossing_mm, slope_of

QUIET_FROM_MM = 1.5
"""Break-away is over from here on."""


@dataclass(frozen=True, slots=True)
class Damper:
    """The damper's step."""

    position_mm: float
    step_newton: float


def find_damper(
    curve: Curve, contact_mm: float, onset_mm: float | None, limit: float, settings: FeatureSettings
) -> Damper | None:
    """Return the step that both ways show at the same place before the let-off, if each exceeds the limit.

    The curve's slope before the step is taken out first: a key on a spring rises everywhere.
    """
    if curve.up_newton is None:
        return None
    step = curve.step_mm
    near, far = round(0.35 / step), round(0.85 / step)
    last = round(settings.damper_to * contact_mm / step)
    if onset_mm is not None:
        last = min(last, round(onset_mm / step) - far)
    first = round(settings.damper_from * contact_mm / step)
    too_short = curve.way_mm[-1] < QUIET_FROM_MM + 1.0
    if too_short or first >= last or last - 1 + far >= len(curve.way_mm) or first - far < 0:
        return None
    ways = curve.down_newton, curve.up_newton
    centres = slice(first, last)
    down, up = (_rises(force, centres, near, far) - (near + far) * _rise(curve, force, first - near) for force in ways)
    both = np.minimum(down, up)
    best = int(np.argmax(both))
    if both[best] <= limit or max(down[best], up[best]) > 3.0 * both[best]:
        return None
    centre = first + best
    both_ways = (curve.down_newton + curve.up_newton) / 2.0
    plain = both_ways - _rise(curve, both_ways, centre - near) * np.arange(len(both_ways))
    position = _middle_mm(curve.way_mm, plain, centre, near, far)
    return Damper(position, float(_rises(plain, slice(centre, centre + 1), near, far)[0]))


def _rise(curve: Curve, force: FloatArray, until: int) -> float:
    """Return by how much a force rises from point to point, as a straight line, from QUIET_FROM_MM to a point."""
    quiet = slice(round(QUIET_FROM_MM / curve.step_mm), max(until, round((QUIET_FROM_MM + 0.5) / curve.step_mm)))
    return slope_of(curve.way_mm[quiet], force[quiet]) * curve.step_mm


def _rises(force: FloatArray, centres: slice, near: int, far: int) -> FloatArray:
    """Return, for each centre, the mean force from near to far after it less that before it.

    Along a straight line that is near + far times the rise from point to point.
    """
    total = sums(force[centres.start - far : centres.stop + far])
    count = centres.stop - centres.start
    before_far, before_near, after_near, after_far = (
        total[far + shift : far + shift + count] for shift in (-far, -near, near, far)
    )
    rises: FloatArray = ((after_far - after_near) - (before_near - before_far)) / (far - near)
    return rises


def _middle_mm(way: FloatArray, force: FloatArray, centre: int, near: int, far: int) -> float:
    """Return the place at which the step is half done."""
    low, high = mean(force[centre - far : centre - near]), mean(force[centre + near : centre + far])
    middle = (low + high) / 2.0
    above = np.flatnonzero(force[centre - far : centre + far] >= middle)
    return crossing_mm(way, force, centre - far + int(above[0]), middle) if len(above) else float(way[centre])
