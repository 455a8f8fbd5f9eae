"""What a number would be had something been otherwise: a part of its uncertainty for what is only known within bounds.

How it works: the curve or the notes are changed by as much as may be wrong with them and the number is read again; how
far it has moved tells what may be wrong (`budget/otherwise_lines.py`). So every number gets what concerns it, however
it hangs on the curve.
Sources: sensitivity by a finite change, GUM 5.1.3 note 2; rectangular distributions, GUM 4.3.7; smoothing a smooth
curve again to see what smoothing does: twicing, J. W. Tukey, Exploratory Data Analysis (1977), ch. 16 (from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from processing.curve import RISES_MM
from processing.features.read_off import NotePlaces
from processing.kernel import equivalent_kernel
from processing.stages import Curve, FloatArray


def smoothed_again(curve: Curve) -> Curve:
    """Return the curve after one more pass of its own smoothing kernel; the rise at touch was not smoothed at all."""
    kernel = equivalent_kernel(curve)
    rises = round(RISES_MM / curve.step_mm)
    up = curve.up_newton
    return replace(
        curve,
        down_newton=_smoothed(curve.down_newton, kernel, rises),
        up_newton=None if up is None else _smoothed(up, kernel, rises),
    )


def _smoothed(force: FloatArray, kernel: FloatArray, from_point: int) -> FloatArray:
    reach = len(kernel) // 2
    behind = force[from_point:]
    if len(behind) <= reach:
        return force.copy()
    beyond = np.pad(behind, reach, mode="reflect", reflect_type="odd")
    return np.concatenate([force[:from_point], np.convolve(beyond, kernel, mode="valid")])


def notes_as_late_as_may_be(notes: NotePlaces, latest_s: float) -> NotePlaces:
    """Return where the key was when the note began and ended, had it been heard as late as may be."""
    trigger, release = notes.trigger_mm, notes.release_mm
    return replace(
        notes,
        trigger_mm=None if trigger is None else trigger - latest_s * notes.plunger_at_trigger_mm_per_s,
        release_mm=None if release is None else release + latest_s * notes.plunger_at_release_mm_per_s,
    )
