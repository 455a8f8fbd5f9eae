"""What a number would be had something been otherwise: a part of its uncertainty for what is only known within bounds.

How it works: the curve or the notes are changed by as much as may be wrong with them and the number is read again; how
far it has moved is taken as half of a rectangular distribution. So every number gets what concerns it, however it hangs
on the curve.
Sources: sensitivity by a finite change, GUM 5.1.3 note 2; rectangular distributions, GUM 4.3.7; smoothing a smooth
curve again to see what smoothing does: twicing, J. W. Tukey, Exploratory Data Analysis (1977), ch. 16 (from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from processing.features.read_off import NotePlaces
from processing.stages import Curve, FloatArray

AT_KINKS = ("letoff_peak_position", "aftertouch", "trigger_margin")
"""A lopsided peak has a jump of curvature at its top. Smoothing moves its place in proportion to the kernel's width,
and smoothing again moves it by only a fifth as much (moments of the kernel), which noise would drown."""
KINK_SHIFT_SHARE = 0.11
"""The largest such shift as a share of the kernel's half-width: of raised cosines, from 0.75 to 1.45 mm of rise and
0.35 to 0.60 mm of fall (a test reckons it)."""


def smoothed_again(curve: Curve) -> Curve:
    """Return the curve after one more pass of its own smoothing kernel."""
    kernel = equivalent_kernel(curve)
    up = curve.up_newton
    return replace(
        curve,
        down_newton=_smoothed(curve.down_newton, kernel),
        up_newton=None if up is None else _smoothed(up, kernel),
    )


def equivalent_kernel(curve: Curve) -> FloatArray:
    """Return what the local parabola amounts to on an even grid: a kernel of sum one."""
    reach = max(2, int(np.ceil(curve.half_width_mm / curve.step_mm)))
    off = np.arange(-reach, reach + 1) * curve.step_mm / curve.half_width_mm
    tricube = np.clip(1.0 - np.abs(off) ** 3, 0.0, None) ** 3
    s2, s4 = np.sum(tricube * off**2), np.sum(tricube * off**4)
    kernel = tricube * (s4 - s2 * off**2)
    even: FloatArray = kernel / np.sum(kernel)
    return even


def _smoothed(force: FloatArray, kernel: FloatArray) -> FloatArray:
    reach = len(kernel) // 2
    if len(force) <= reach:
        return force.copy()
    beyond = np.pad(force, reach, mode="reflect", reflect_type="odd")
    smoothed: FloatArray = np.convolve(beyond, kernel, mode="valid")
    return smoothed


def smoothing_bound(name: str, moved: float, curve: Curve) -> float:
    """Return how far smoothing may have moved a number, in its own unit; moved: by smoothing once more."""
    return KINK_SHIFT_SHARE * curve.half_width_mm if name in AT_KINKS else abs(moved)


def notes_as_late_as_may_be(notes: NotePlaces, latest_s: float) -> NotePlaces:
    """Return where the key was when the note began and ended, had it been heard as late as may be."""
    trigger, release = notes.trigger_mm, notes.release_mm
    return replace(
        notes,
        trigger_mm=None if trigger is None else trigger - latest_s * notes.plunger_at_trigger_mm_per_s,
        release_mm=None if release is None else release + latest_s * notes.plunger_at_release_mm_per_s,
    )
