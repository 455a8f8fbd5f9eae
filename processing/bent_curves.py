"""A key as it would have been measured with another calibration: for sensitivities of numbers to its constants.

How it works: a constant of the calibration is changed by a small step either way; the force at every point, or the
place of every point, moves accordingly, each way of the stroke for itself; the curve is put back on its grid and read
again. Steps are larger than any calibration's doubt, so that the grid's own step does not show, and small enough for
straight lines. Places of notes rest on the displacement alone.
Source: GUM (JCGM 100:2008) 5.1.4, note 2.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from processing.budget.calibration_lines import BACKLASH, COMPLIANCE, DISPLACEMENT_POWERS, FORCE_POWERS, SKEW
from processing.budget.sources import DRIFT_APART, TOUCH, ZERO
from processing.evidence import Evidence
from processing.features.read_off import NotePlaces
from processing.stages import Curve, FloatArray

Bent = tuple[Curve, NotePlaces]


@dataclass(frozen=True, slots=True)
class Bend:
    """One constant of the calibration: how large a step to try, in its unit, and what the key looks like after it."""

    constant: str
    step: float
    bent: Callable[[Evidence, NotePlaces, float, float], Bent]
    """Given evidence, notes, the change and the force at touch."""


def _force_power(power: int) -> Callable[[Evidence, NotePlaces, float, float], Bent]:
    def bent(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
        curve = evidence.curve
        up = curve.up_newton
        up = None if up is None else up + change * up**power
        return replace(curve, down_newton=curve.down_newton + change * curve.down_newton**power, up_newton=up), notes

    return bent


def _displacement_power(power: int) -> Callable[[Evidence, NotePlaces, float, float], Bent]:
    def bent(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
        way = evidence.curve.way_mm
        moved = change * way**power
        trigger, release = (
            None if place is None else change * place**power for place in (notes.trigger_mm, notes.release_mm)
        )
        return _moved(evidence.curve, moved, moved), _moved_notes(notes, trigger, release)

    return bent


def _compliance(evidence: Evidence, notes: NotePlaces, change: float, touch_newton: float) -> Bent:
    """The tip is less deep by the change times the force, touch itself by the change times its own force."""
    curve = evidence.curve
    down = -change * (curve.down_newton - touch_newton)
    up = down if curve.up_newton is None else -change * (curve.up_newton - touch_newton)
    trigger = _at(curve.way_mm, down, notes.trigger_mm)
    return _moved(curve, down, up), _moved_notes(notes, trigger, _at(curve.way_mm, up, notes.release_mm))


def _skew(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
    """Force that is later by the change belongs to a place passed before: touch rises, the way up lies deeper."""
    moved_mm = evidence.speed_mm_per_s * change
    still = np.zeros_like(evidence.curve.way_mm)
    return _moved(evidence.curve, still, still + 2.0 * moved_mm), _moved_notes(notes, moved_mm, moved_mm)


def _backlash(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
    """All places of the way up are deeper by the change."""
    still = np.zeros_like(evidence.curve.way_mm)
    return _moved(evidence.curve, still, still + change), _moved_notes(notes, 0.0, change)


def _zero(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
    """All forces are larger by the change; touch itself hardly moves on the steep rise of the stop."""
    curve = evidence.curve
    up = None if curve.up_newton is None else curve.up_newton + change
    return replace(curve, down_newton=curve.down_newton + change, up_newton=up), notes


def _zero_apart(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
    """Forces of the way down are larger by the change, those of the way up smaller."""
    curve = evidence.curve
    up = None if curve.up_newton is None else curve.up_newton - change
    return replace(curve, down_newton=curve.down_newton + change, up_newton=up), notes


def _touch(evidence: Evidence, notes: NotePlaces, change: float, _: float) -> Bent:
    """All places are deeper by the change."""
    moved = np.full_like(evidence.curve.way_mm, change)
    return _moved(evidence.curve, moved, moved), _moved_notes(notes, change, change)


OF_THE_STROKES = (
    Bend(ZERO, 0.002, _zero),
    Bend(DRIFT_APART, 0.002, _zero_apart),
    Bend(TOUCH, 0.02, _touch),
)
"""What every stroke has anew, calibrated or not."""
BENDS = (
    Bend(FORCE_POWERS[0], 0.005, _force_power(1)),
    Bend(FORCE_POWERS[1], 0.005, _force_power(2)),
    Bend(DISPLACEMENT_POWERS[0], 0.005, _displacement_power(1)),
    Bend(DISPLACEMENT_POWERS[1], 0.0005, _displacement_power(2)),
    Bend(COMPLIANCE, 0.01, _compliance),
    Bend(SKEW, 0.01, _skew),
    Bend(BACKLASH, 0.05, _backlash),
)
"""A constant, and a step that moves forces by about 0.5 % or places by some hundredths of a millimetre."""


def _moved(curve: Curve, down_mm: FloatArray, up_mm: FloatArray) -> Curve:
    """Return the curve with the points of each way moved by so much, on its own grid again.

    A key bed stiffer than the step of give would fold back over itself; its points then stay at one place.
    """
    grid = curve.way_mm
    up = curve.up_newton
    down_way, up_way = (np.maximum.accumulate(grid + moved) for moved in (down_mm, up_mm))
    return replace(
        curve,
        down_newton=np.interp(grid, down_way, curve.down_newton),
        up_newton=None if up is None else np.interp(grid, up_way, up),
    )


def _at(way: FloatArray, moved: FloatArray, place: float | None) -> float | None:
    return None if place is None else float(np.interp(place, way, moved))


def _moved_notes(notes: NotePlaces, trigger: float | None, release: float | None) -> NotePlaces:
    def moved(place: float | None, by: float | None) -> float | None:
        return None if place is None or by is None else place + by

    return replace(notes, trigger_mm=moved(notes.trigger_mm, trigger), release_mm=moved(notes.release_mm, release))
