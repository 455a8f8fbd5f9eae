"""The let-off (escapement): where it sits and how it feels. Definitions: measurands.md, Let-off.

Tactile ratio: (Fmax - Fmin) / Fmax, the identity of the membrane-switch standards (ASTM F1570 and successors; terms
read, formula from memory, no conformity claimed).
"""

from __future__ import annotations

import numpy as np

from processing.errors import FeatureNotFound
from processing.features.read_off import ReadOff
from processing.selection import trapezoid
from processing.straight import extreme_mm


def peak_position(key: ReadOff) -> float:
    """The local maximum, mm."""
    return key.peak_mm()


def peak_force(key: ReadOff) -> float:
    """Force at the local maximum, N."""
    key.peaked_letoff()
    return _top_newton(key)


def _top_newton(key: ReadOff) -> float:
    return float(key.curve.down_newton[key.letoff().peak or 0])


def onset_position(key: ReadOff) -> float:
    """Last place before the peak with 10 % of the rise or less, mm."""
    onset_mm = key.letoff().onset_mm
    if onset_mm is None:
        raise FeatureNotFound("the let-off rises from the very start of the stroke")
    return onset_mm


def end_position(key: ReadOff) -> float:
    """First place after the peak where 90 % of the drop is done, mm."""
    key.peaked_letoff()
    return key.letoff().end_mm or 0.0


def rise(key: ReadOff) -> float:
    """Force at the peak less the force before, N; of a shoulder too."""
    return _top_newton(key) - (key.letoff().before_newton or 0.0)


def drop(key: ReadOff) -> float:
    """Force at the peak less the lowest between it and key dip, N; 0 for a shoulder."""
    return _top_newton(key) - (key.letoff().lowest_newton or 0.0)


def ratio(key: ReadOff) -> float:
    """Drop over peak force."""
    return drop(key) / _top_newton(key)


def slope(key: ReadOff) -> float:
    """Steepest fall between peak and end, N/mm."""
    letoff = key.peaked_letoff()
    top_mm = extreme_mm(key.curve.down_newton, letoff.peak or 0, key.curve.step_mm)
    part = key.between(top_mm, letoff.end_mm or 0.0)
    first, last = max(part.start, 1), min(part.stop, len(key.curve.way_mm) - 1)
    force = key.curve.down_newton
    fallen = force[first - 1 : last - 1] - force[first + 1 : last + 1]
    return float(fallen.max() / (2.0 * key.curve.step_mm))


def work(key: ReadOff) -> float:
    """Work above the force before, from onset to end, mJ."""
    letoff = key.letoff()
    part = key.between(onset_position(key), end_position(key))
    over = np.maximum(key.curve.down_newton[part] - (letoff.before_newton or 0.0), 0.0)
    return trapezoid(over, key.curve.step_mm)
