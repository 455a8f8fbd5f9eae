"""From counts to newtons, millimetres and seconds; late force brought back to its time; wild samples left out.

How it works: each part of the calibration record goes before what the rig states of itself: polynomial before scale,
skew before delay, table of the give before a number. Counts are never touched, so another record gives other numbers.
The gauge's backlash is taken out by the way that the plunger is on; a scale whose change with temperature is known is
brought to the temperature of the recording's room (`at_temperature`, before anything else).
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from processing.selection import median, quantile
from processing.stages import BoolArray, CalibratedTrace, FloatArray, Give
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    CountPolynomial,
    DisplacementCalibration,
    ForceCalibration,
)
from recordings.types import Calibration, Header, RawTrace

Counts = np.ndarray[tuple[int], np.dtype[np.int32]]

NEIGHBOURHOOD = 5
WILD_SIGMAS = 12.0
WILD_NEWTON, WILD_MM = 0.1, 0.1
"""A sample is wild only if it also stands off its neighbours by this much: quiet signals have small sigmas."""


def calibrate(trace: RawTrace, calibration: Calibration) -> CalibratedTrace:
    """Return a key's samples in physical units.

    The force channel's delay is taken out by reading it that much later (linear between samples). A sample that stands
    off the median of its five neighbours by 12 robust standard deviations is left out and counted.
    Source: own.
    """
    record = calibration.record
    time_s = (trace.tick_us - trace.tick_us[:1]).astype(np.float64) * 1e-6
    force = force_newton(trace.force_counts, calibration)
    displacement = without_play(displacement_mm(trace.displacement_counts, calibration), backlash_mm(calibration))
    late_us = delay_us(calibration)
    if late_us:
        force = np.interp(time_s, time_s - late_us * 1e-6, force)
    wild = is_wild(force, WILD_NEWTON) | is_wild(displacement, WILD_MM)
    kept = ~wild if wild.any() else slice(None)
    return CalibratedTrace(
        time_s[kept],
        displacement[kept],
        force[kept],
        give_of(calibration),
        _step_mm(displacement, _count_mm(calibration)),
        noise_sigma(displacement),
        outliers=int(wild.sum()),
        gaps=int((np.diff(trace.sample_number) != 1).sum()),
        force_range_newton=_range(record.force if record else None),
        displacement_range_mm=_range(record.displacement if record else None),
    )


def recalibrated(header: Header, record: CalibrationRecord | None) -> Header:
    """Return a recording's header with another calibration record; None: with the one that it has."""
    if record is None:
        return header
    return replace(header, calibration=replace(header.calibration, record=record))


def force_newton(counts: Counts, calibration: Calibration) -> FloatArray:
    """Return the force channel in N, shape (N,): by the record if it has that part, else as the rig states it."""
    part = calibration.record.force if calibration.record else None
    return calibration.force.physical(counts) if part is None else by_polynomial(counts, part.polynomial)


def displacement_mm(counts: Counts, calibration: Calibration) -> FloatArray:
    """Return the displacement channel in mm, shape (N,): by the record if it has that part, else as the rig states."""
    part = calibration.record.displacement if calibration.record else None
    return calibration.displacement.physical(counts) if part is None else by_polynomial(counts, part.polynomial)


def delay_us(calibration: Calibration) -> float:
    """Return how long before its tick the force shown was true, against the displacement."""
    part = calibration.record.skew if calibration.record else None
    return float(calibration.force_delay_us) if part is None else part.us


def backlash_mm(calibration: Calibration) -> float:
    """Return by how much a place is deeper going down than going up, at one count; 0 where nobody has found it."""
    part = calibration.record.displacement if calibration.record else None
    return 0.0 if part is None or part.backlash_mm is None else part.backlash_mm


def without_play(shown_mm: FloatArray, play_mm: float) -> FloatArray:
    """Return true places of a gauge with play, shape (N,): half of it deeper on every way down, less deep going up.

    A way turns where the place comes back from its furthest by more than noise; from that sample on the other side of
    the play is in touch. While the play is being crossed the gauge stands and nobody knows the place.
    """
    if play_mm == 0.0 or not len(shown_mm):
        return shown_mm
    hair = max(TURN_SIGMAS * noise_sigma(shown_mm), TURN_MM)
    side = np.zeros(len(shown_mm))
    turns = _turns(shown_mm, hair)
    for (start, way), end in zip(turns, [*(place for place, _ in turns[1:]), len(shown_mm)], strict=True):
        side[start:end] = way
    return shown_mm + side * play_mm / 2.0


TURN_SIGMAS, TURN_MM = 8.0, 0.004
"""A place must come back by so much to be on its other way: noise does not, the trembling of a hand does."""


def _turns(shown_mm: FloatArray, hair_mm: float) -> list[tuple[int, float]]:
    """Return where each way begins, and +1 for a way down, -1 for a way up; before the first motion it is as after."""
    found: list[tuple[int, float]] = []
    furthest, at, way = float(shown_mm[0]), 0, 0.0
    highest = lowest = furthest
    for place, now in enumerate(shown_mm.tolist()):
        if way == 0.0:
            highest, lowest = max(highest, now), min(lowest, now)
            if highest - lowest > hair_mm:
                way = 1.0 if now == highest else -1.0
                found.append((0, way))
                furthest, at = now, place
        elif (now - furthest) * way >= 0.0:
            furthest, at = now, place
        elif (furthest - now) * way > hair_mm:
            way = -way
            found.append((at + 1, way))
            furthest, at = now, place
    return found


def at_temperature(calibration: Calibration, room_celsius: float | None) -> Calibration:
    """Return a calibration whose scales are brought to the temperature of a room, where their change with it is known.

    room_celsius: of the recording; None: not measured, nothing is changed.
    Source: value = polynomial (1 + a (T - T0)), a: relative change of the value of one count per kelvin.
    """
    record = calibration.record
    environment = record.environment if record is not None else None
    if record is None or environment is None or room_celsius is None:
        return calibration
    kelvin = room_celsius - environment.celsius
    force, displacement = record.force, record.displacement
    if force is not None and environment.force_per_kelvin:
        factor = 1.0 + environment.force_per_kelvin * kelvin
        force = replace(force, polynomial=_times(force.polynomial, factor))
    if displacement is not None and environment.displacement_per_kelvin:
        factor = 1.0 + environment.displacement_per_kelvin * kelvin
        displacement = replace(displacement, polynomial=_times(displacement.polynomial, factor))
    return replace(calibration, record=replace(record, force=force, displacement=displacement))


def _times(polynomial: CountPolynomial, factor: float) -> CountPolynomial:
    return replace(
        polynomial,
        coefficients=tuple(factor * c for c in polynomial.coefficients),
        covariance=tuple(tuple(factor**2 * c for c in row) for row in polynomial.covariance),
    )


def give_of(calibration: Calibration) -> Give:
    """Return the function that tells from forces in N, shape (N,), how far in mm the rig itself gives."""
    part = calibration.record.compliance if calibration.record else None
    if part is None:
        return lambda force: calibration.compliance_mm_per_newton * force
    return partial(_by_table, part)


def _by_table(compliance: Compliance, force: FloatArray) -> FloatArray:
    """Return the give, straight between the points and, beyond the last one on either side, with the slope there."""
    newton, mm = (np.array([getattr(point, name) for point in compliance.points]) for name in ("newton", "mm"))
    slope = np.diff(mm) / np.diff(newton)
    beyond = slope[0] * np.minimum(force - newton[0], 0.0) + slope[-1] * np.maximum(force - newton[-1], 0.0)
    give: FloatArray = np.interp(force, newton, mm) + beyond
    return give


def by_polynomial(counts: Counts, polynomial: CountPolynomial) -> FloatArray:
    """Return counts as physical values, in the unit of the polynomial, shape (N,)."""
    off = counts.astype(np.float64) - polynomial.reference_counts
    return np.asarray(np.polynomial.polynomial.polyval(off, polynomial.coefficients), np.float64)


def _range(part: ForceCalibration | DisplacementCalibration | None) -> tuple[float, float] | None:
    return None if part is None else part.polynomial.range()


def _count_mm(calibration: Calibration) -> float:
    """Return how much way one count of the displacement channel is."""
    part = calibration.record.displacement if calibration.record else None
    if part is None:
        return 1.0 / abs(calibration.displacement.counts_per_unit)
    return abs(part.polynomial.slope_at(part.polynomial.reference_counts))


def _step_mm(displacement: FloatArray, count_mm: float) -> float:
    """Return the step of the gauge: one count, or more where the values show that they were rounded before.

    Of all changes but those of nothing, which are the smallest, five in a hundred are smaller.
    """
    changes = np.diff(displacement)
    np.abs(changes, out=changes)
    still = len(changes) - np.count_nonzero(changes)
    if still == len(changes):
        return count_mm
    share = (still + 0.05 * (len(changes) - still - 1)) / max(len(changes) - 1, 1)
    return max(count_mm, quantile(changes, share))


def noise_sigma(signal: FloatArray) -> float:
    """Return the standard deviation of white noise on a slow signal, from second differences, robustly.

    Source: Var(a - 2b + c) = 6 sigma^2; median absolute deviation times 1.4826 for normal noise.
    """
    if len(signal) < 3:
        return 0.0
    bent = signal[2:] - signal[1:-1]
    bent -= signal[1:-1]
    bent += signal[:-2]
    return float(1.4826 * median(np.abs(bent, out=bent)) / np.sqrt(6.0))


def is_wild(signal: FloatArray, least: float) -> BoolArray:
    """Tell for each sample whether it stands far off its neighbours while these agree, shape (N,).

    A real edge (the plunger leaves the key, the stage brakes) has neighbours that differ, and stays. No sample is
    further off the median of five than off the farther of its two neighbours, so only samples beside a jump are looked
    at; the first and the last are their own median.
    """
    wild: BoolArray = np.zeros(len(signal), np.bool_)
    steps = np.diff(signal)
    jumps = np.flatnonzero(np.abs(steps, out=steps) > least)
    if not len(jumps):
        return wild
    beside = np.unique(np.concatenate([jumps, jumps + 1]))
    beside = beside[(beside > 0) & (beside < len(signal) - 1)]
    around = np.clip(beside[:, None] + np.arange(NEIGHBOURHOOD) - NEIGHBOURHOOD // 2, 0, len(signal) - 1)
    here, before, after = signal[beside], signal[beside - 1], signal[beside + 1]
    off = np.abs(here - np.median(signal[around], axis=1))
    alone = np.minimum(np.abs(here - before), np.abs(here - after)) > 2.0 * np.abs(after - before)
    wild[beside] = alone & (off > max(least, WILD_SIGMAS * noise_sigma(signal)))
    return wild
