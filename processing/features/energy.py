"""Energy: W = integral of F dx by the trapezoid rule, from touch to bed contact. Definitions: measurands.md, Energy."""

from __future__ import annotations

import numpy as np

from processing.features.read_off import ReadOff
from processing.selection import trapezoid
from processing.stages import FloatArray


def _work(key: ReadOff, force: FloatArray) -> float:
    """Return the integral of a force from 0 to bed contact in N mm = mJ; the last step is cut where it ends."""
    way, end_mm = key.curve.way_mm, key.marks.bed_contact_mm
    whole = force[key.between(0.0, end_mm - key.curve.step_mm / 2)]
    to_last = trapezoid(whole, key.curve.step_mm)
    left_mm = end_mm - way[len(whole) - 1]
    return float(to_last + left_mm * (whole[-1] + np.interp(end_mm, way, force)) / 2.0)


def press_work(key: ReadOff) -> float:
    """Work put into the key, mJ."""
    return _work(key, key.curve.down_newton)


def return_work(key: ReadOff) -> float:
    """Work given back by the key, mJ."""
    return _work(key, key.up_newton())


def loop_work(key: ReadOff) -> float:
    """Work lost in a stroke, mJ: press work less return work, in one integral."""
    return _work(key, key.curve.down_newton - key.up_newton())
