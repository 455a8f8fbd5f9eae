"""From the readings of a calibration to the part of a record, with all that is suspicious about them.

How it works: one function for each kind. Each takes readings as they stand in their file, so that what is fitted at
the bench and what is fitted from the file later are the same thing. Readings that were set aside do not count.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from processing.calibration.block_list import TABLE, BlockList, parse_block_list
from processing.calibration.block_mistakes import BlockPress, find_block_mistakes
from processing.calibration.compliance import Compliance, StopPress, find_compliance
from processing.calibration.displacement_steps import BlockReading, DisplacementCalibration, calibrate_displacement
from processing.calibration.errors import CalibrationError, OutsideRange, TooFewReadings
from processing.calibration.force_steps import ForceCalibration, calibrate_force
from processing.calibration.gravity import Gravity
from processing.calibration.masses import MassList, parse_mass_list, stack_forces
from processing.calibration.mistakes import find_mistakes
from processing.calibration.press_places import FreePress, PlaceBothWays, free_press, moves_steadily, place_both_ways
from processing.calibration.record_parts import compliance_part, displacement_part, force_part, skew_part
from processing.calibration.sequence import LoadStep
from processing.calibration.settings import PlaceSettings, ReferenceSettings, SkewSettings
from processing.calibration.skew import Loop, Skew, find_skew, loop_of
from recordings import calibration_record as record
from recordings.calibration_readings import CalibrationReadings, Kind, PressReading, without_set_aside
from recordings.types import Calibration

Part = record.ForceCalibration | record.DisplacementCalibration | record.Compliance | record.Skew


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to be put right before the readings are believed. place: of the step or press, from 0; None: all."""

    code: str
    place: int | None
    words: str
    advice: str


@dataclass(frozen=True, slots=True, eq=False)
class DerivedForce:
    """A force calibration, and the steps it was made of."""

    faults: tuple[Fault, ...]
    steps: tuple[LoadStep, ...]
    calibration: ForceCalibration
    part: record.ForceCalibration


@dataclass(frozen=True, slots=True, eq=False)
class DerivedDisplacement:
    """A displacement calibration."""

    faults: tuple[Fault, ...]
    calibration: DisplacementCalibration
    part: record.DisplacementCalibration


@dataclass(frozen=True, slots=True, eq=False)
class DerivedCompliance:
    """The give of the frame."""

    faults: tuple[Fault, ...]
    calibration: Compliance
    part: record.Compliance


@dataclass(frozen=True, slots=True, eq=False)
class DerivedSkew:
    """The skew of the channels."""

    faults: tuple[Fault, ...]
    calibration: Skew
    loops: tuple[Loop, ...]
    part: record.Skew


Derived = DerivedForce | DerivedDisplacement | DerivedCompliance | DerivedSkew


def derive(readings: CalibrationReadings) -> Derived:
    """Return what the readings say, of whatever kind they are. Raises CalibrationError and its kinds."""
    try:
        return DERIVE[readings.head.kind](readings)
    except CalibrationError:
        raise
    except ValueError as fault:  # what was fitted can be no part of a record: a parabola that turns back, say
        raise OutsideRange(f"these readings make no calibration: {fault}; look at them, and calibrate anew") from fault


def steps_of(readings: CalibrationReadings) -> tuple[LoadStep, ...]:
    """Return the readings of the cell that count."""
    return tuple(
        LoadStep(
            masses=one.masses,
            mean_counts=one.mean_counts,
            sd_counts=one.sd_counts,
            samples=one.samples,
            time_s=one.time_s,
            settled=one.settled,
        )
        for one in without_set_aside(readings).loads
    )


def masses_and_gravity(readings: CalibrationReadings) -> tuple[MassList, Gravity]:
    """Return what the head says of masses and gravity. Raises MalformedMassList, TooFewReadings."""
    stated = readings.head.gravity
    if stated is None:
        raise TooFewReadings("these readings say nothing of local gravity; give it with --gravity")
    return parse_mass_list(readings.head.references, "masses in the readings"), Gravity(
        stated.m_per_s2, stated.u_m_per_s2, stated.source
    )


def force_faults(readings: CalibrationReadings) -> tuple[Fault, ...]:
    """Return what looks like a mistake in the readings so far, also before there are enough for a calibration."""
    masses, gravity = masses_and_gravity(readings)
    found = find_mistakes(steps_of(readings), masses, gravity, range_counts=readings.head.force_range_counts)
    return tuple(Fault(one.code, one.step, one.words, one.advice) for one in found)


def derive_force(readings: CalibrationReadings) -> DerivedForce:
    """Return the calibration of the force. Raises TooFewReadings, MalformedMassList, UnknownReference."""
    steps, (masses, gravity) = steps_of(readings), masses_and_gravity(readings)
    calibration = calibrate_force(steps, stack_forces([step.masses for step in steps], masses, gravity))
    faults = (*force_faults(readings), *_unrepeatable(calibration))
    return DerivedForce(faults, steps, calibration, force_part(calibration, steps, masses))


def _unrepeatable(calibration: ForceCalibration) -> tuple[Fault, ...]:
    """The same load shows the same in every cycle; many slips at once can hide from a search for single ones."""
    allowed = ReferenceSettings().repeatable_share * calibration.highest_newton
    shown = max(calibration.repeatability_newton or 0.0, 2.0 * calibration.residual_sd_newton)
    if shown <= allowed:
        return ()
    words = f"readings of the same load lie {shown:.4f} N apart, more than {allowed:.4f} N: several slips at once, or a"
    advice = "look for what touches the pan or the cell, let the cell warm up, and begin again"
    return (Fault("not_repeatable", None, f"{words} cell that is not sound", advice),)


def displacement_faults(readings: CalibrationReadings) -> tuple[Fault, ...]:
    """Return the blocks that do not show their length, also before there are enough presses for a calibration."""
    blocks = parse_block_list(readings.head.references, "blocks in the readings")
    presses = without_set_aside(readings).presses
    shown = [_place(press, readings.head.stated) for press in presses]
    asked = [
        BlockPress(press.under, _length_mm(press.under, blocks), (place.down_counts + place.up_counts) / 2.0)
        for press, place in zip(presses, shown, strict=True)
    ]
    known = {TABLE: 0.0, **{block.name: block.gauge_block.length_mm for block in blocks.block}}
    return tuple(Fault(one.code, one.press, one.words, one.advice) for one in find_block_mistakes(asked, known))


def derive_displacement(readings: CalibrationReadings) -> DerivedDisplacement:
    """Return the calibration of the displacement. Raises TooFewReadings, MalformedBlockList, UnknownReference."""
    blocks = parse_block_list(readings.head.references, "blocks in the readings")
    presses, stated = without_set_aside(readings).presses, readings.head.stated
    places = [_place(press, stated) for press in presses]
    rows = []
    for press, place in zip(presses, places, strict=True):
        block = None if press.under == TABLE else blocks.find(press.under).gauge_block
        rows += [BlockReading(block, "down", place.down_counts), BlockReading(block, "up", place.up_counts)]
    calibration = calibrate_displacement(rows)
    used = dict.fromkeys(press.under for press in presses if press.under != TABLE)
    part = displacement_part(
        calibration,
        np.array([row.mean_counts for row in rows]),
        stated.displacement,
        f"gauge blocks {', '.join(used)} ({blocks.certificate})",
        u_backlash_by_skew_mm=2.0 * max(place.speed_mm_per_s for place in places) * _u_skew_s(stated),
    )
    return DerivedDisplacement(displacement_faults(readings), calibration, part)


def _place(press: PressReading, stated: Calibration) -> PlaceBothWays:
    return place_both_ways(free_press(press.trace, stated))


def _length_mm(name: str, blocks: BlockList) -> float:
    return 0.0 if name == TABLE else blocks.find(name).gauge_block.length_mm


def _u_skew_s(stated: Calibration) -> float:
    known = stated.record.skew if stated.record is not None else None
    return PlaceSettings().unknown_skew_s / float(np.sqrt(3.0)) if known is None else known.u_us * 1e-6


def derive_compliance(readings: CalibrationReadings) -> DerivedCompliance:
    """Return the give of the frame. Raises TooFewReadings."""
    presses = [free_press(press.trace, readings.head.stated) for press in without_set_aside(readings).presses]
    found = find_compliance([_way_down(press) for press in presses])
    faults: tuple[Fault, ...] = ()
    if found.mm_per_newton > ReferenceSettings().rigid_mm_per_newton:
        words = f"the stop gives way by {found.mm_per_newton:.3f} mm for each newton: it is no rigid stop"
        faults = (Fault("not_rigid", None, words, "put a steel block on the table under the plunger, and begin again"),)
    return DerivedCompliance(faults, found, compliance_part(found))


def _way_down(press: FreePress) -> StopPress:
    way = slice(None, press.turn + 1)
    return StopPress(press.force_newton[way].copy(), press.displacement_mm[way].copy())


def derive_skew(readings: CalibrationReadings) -> DerivedSkew:
    """Return the skew of force against displacement. Raises TooFewReadings."""
    loops = tuple(
        _loop(free_press(press.trace, readings.head.stated, skew_taken_out=False))
        for press in without_set_aside(readings).presses
    )
    found = find_skew(loops)
    if any(press.speed_mm_per_s is None for press in without_set_aside(readings).presses):
        found = replace(found, u_s=hypot(found.u_s, _u_by_trembling_s(loops, readings.head.stated)))
    faults: tuple[Fault, ...] = ()
    limits = ReferenceSettings()
    stiffest = max(loop.stiffness_newton_per_mm for loop in loops)
    if stiffest > 1.0 / limits.elastic_mm_per_newton:
        words = f"what lies under the plunger takes {stiffest:.1f} N for each mm: it is no spring"
        faults = (Fault("not_elastic", None, words, "put a steel spring under the plunger, and begin again"),)
    return DerivedSkew(faults, found, loops, skew_part(found))


def _u_by_trembling_s(loops: tuple[Loop, ...], stated: Calibration) -> float:
    """Return what a trembling hand adds: at the slow strokes the gauge's play may not be wholly taken up."""
    known = stated.record.displacement if stated.record is not None else None
    play = known.backlash_mm if known is not None and known.backlash_mm is not None else UNKNOWN_PLAY_MM
    speeds = [loop.speed_mm_per_s for loop in loops]
    return abs(play) / 2.0 / (max(speeds) - min(speeds)) / sqrt(3.0)


UNKNOWN_PLAY_MM = 0.01
"""Bound for a gauge of which nothing is known: some hundredths would be seen at once."""
PRESSING_NEWTON = 0.2
"""From here on the plunger presses on the spring: well above noise."""


def _loop(press: FreePress) -> Loop:
    pressing = np.flatnonzero(press.force_newton > PRESSING_NEWTON)
    if len(pressing) < 2:
        raise TooFewReadings("a stroke did not press on anything; is the spring under the plunger?")
    there = moves_steadily(press)
    there[: pressing[0]] = there[pressing[-1] + 1 :] = False
    return loop_of(press.time_s[there], press.displacement_mm[there], press.force_newton[there], SkewSettings())


DERIVE: dict[Kind, Callable[[CalibrationReadings], Derived]] = {
    "force": derive_force,
    "displacement": derive_displacement,
    "compliance": derive_compliance,
    "skew": derive_skew,
}
