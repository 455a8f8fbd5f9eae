"""From counts to newtons, millimetres and seconds; late force brought back to its time; wild samples left out."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from processing.stages import BoolArray, CalibratedTrace, FloatArray
from recordings.types import Calibration, LinearScale, RawTrace

NEIGHBOURHOOD = 5
WILD_SIGMAS = 12.0
WILD_NEWTON, WILD_MM = 0.1, 0.1
"""A sample is wild only if it also stands off its neighbours by this much: quiet signals have small sigmas."""


def calibrate(trace: RawTrace, calibration: Calibration) -> CalibratedTrace:
    """Return a key's samples in physical units.

    The force channel's delay is taken out by reading it that much later (linear between samples). A sample that stands
    off the median of its five neighbours by 12 robust standard deviations is left out and counted.
    Source: own; median filter by scipy.ndimage.
    """
    time_s = (trace.tick_us - trace.tick_us[:1]).astype(np.float64) * 1e-6
    force = physical(trace.force_counts, calibration.force)
    displacement = physical(trace.displacement_counts, calibration.displacement)
    if calibration.force_delay_us:
        force = np.interp(time_s, time_s - calibration.force_delay_us * 1e-6, force)
    wild = is_wild(force, WILD_NEWTON) | is_wild(displacement, WILD_MM)
    return CalibratedTrace(
        time_s[~wild],
        displacement[~wild],
        force[~wild],
        calibration.compliance_mm_per_newton,
        _step_mm(displacement, 1.0 / abs(calibration.displacement.counts_per_unit)),
        noise_sigma(displacement),
        outliers=int(wild.sum()),
        gaps=int((np.diff(trace.sample_number) != 1).sum()),
    )


def _step_mm(displacement: FloatArray, count_mm: float) -> float:
    """Return the step of the gauge: one count, or more where the values show that they were rounded before."""
    changes = np.abs(np.diff(displacement))
    changes = changes[changes > 0.0]
    return max(count_mm, float(np.percentile(changes, 5.0))) if len(changes) else count_mm


def physical(counts: np.ndarray[tuple[int], np.dtype[np.int32]], scale: LinearScale) -> FloatArray:
    """Return counts as physical values, in the unit of the scale, shape (N,)."""
    return (counts.astype(np.float64) - scale.zero_counts) / scale.counts_per_unit


def noise_sigma(signal: FloatArray) -> float:
    """Return the standard deviation of white noise on a slow signal, from second differences, robustly.

    Source: Var(a - 2b + c) = 6 sigma^2; median absolute deviation times 1.4826 for normal noise.
    """
    if len(signal) < 3:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(signal, 2))) / np.sqrt(6.0))


def is_wild(signal: FloatArray, least: float) -> BoolArray:
    """Tell for each sample whether it stands far off its neighbours while these agree, shape (N,).

    A real edge (the plunger leaves the key, the stage brakes) has neighbours that differ, and stays.
    """
    off = np.abs(signal - median_filter(signal, NEIGHBOURHOOD, mode="nearest"))
    before, after = np.roll(signal, 1), np.roll(signal, -1)
    alone = np.minimum(np.abs(signal - before), np.abs(signal - after)) > 2.0 * np.abs(after - before)
    wild: BoolArray = alone & (off > max(least, WILD_SIGMAS * noise_sigma(signal)))
    return wild
