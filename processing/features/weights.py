"""Weights: what sinks the key, sounds it, and what it lifts. Definitions: measurands.md, Weights.

Balance weight (D + U) / 2 and friction (D - U) / 2 are identities of the trade (common practice).
"""

from __future__ import annotations

import numpy as np

from processing.curve import RISES_MM
from processing.errors import FeatureNotFound
from processing.features.letoff import onset_position
from processing.features.read_off import ReadOff
from processing.selection import mean
from processing.stages import FloatArray


def _mean_over_window(key: ReadOff, force: FloatArray) -> float:
    window = key.marks.window
    if window.stop <= window.start:
        least = key.settings.narrowest_window_mm
        raise FeatureNotFound(f"less than {least:g} mm between break-away and damper or let-off: no place for a weight")
    return mean(force[window])


def down_weight(key: ReadOff) -> float:
    """Mean force over the window on the way down, N."""
    return _mean_over_window(key, key.curve.down_newton)


def up_weight(key: ReadOff) -> float:
    """Mean force over the window on the way up, N."""
    return _mean_over_window(key, key.up_newton())


def balance_weight(key: ReadOff) -> float:
    """(D + U) / 2, N."""
    return (down_weight(key) + up_weight(key)) / 2.0


def friction(key: ReadOff) -> float:
    """(D - U) / 2, N."""
    return (down_weight(key) - up_weight(key)) / 2.0


def weight_to_letoff(key: ReadOff) -> float:
    """Largest force from 1.0 mm to the let-off's onset, N."""
    return key.largest_down(key.settings.weights_from_mm, onset_position(key))


def weight_to_note(key: ReadOff) -> float:
    """Largest force from 1.0 mm to note-on, N."""
    return key.largest_down(key.settings.weights_from_mm, key.trigger_mm())


def lift_weight(key: ReadOff) -> float:
    """Smallest force on the way up from bed contact to 0.3 mm, N."""
    part = key.between(key.settings.lift_from_mm, key.marks.bed_contact_mm)
    return float(np.min(key.up_newton()[part]))


def breakaway(key: ReadOff) -> float:
    """Largest force in the first millimetre less the mean of the second, N; the table cuts it off at 0.

    Within RISES_MM of touch points are single samples, which the shock of meeting the key throws.
    """
    first, second = key.between(RISES_MM, 1.0), key.between(1.0, 2.0)
    return float(key.curve.down_newton[first].max()) - mean(key.curve.down_newton[second])


def damper_position(key: ReadOff) -> float:
    """Centre of the damper's step, mm."""
    if key.marks.damper is None:
        raise FeatureNotFound("no damper step on both ways")
    return key.marks.damper.position_mm


def damper_step(key: ReadOff) -> float:
    """Height of the damper's step, N."""
    if key.marks.damper is None:
        raise FeatureNotFound("no damper step on both ways")
    return key.marks.damper.step_newton
