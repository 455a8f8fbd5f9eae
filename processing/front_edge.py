"""Force and travel at the key's front edge, from those under a plunger that presses further back.

How it works: the key is a lever that turns about one point. At the front edge, L from that point, the force is smaller
by (L - d) / L than at the plunger, d behind the edge, and the travel larger by L / (L - d): the work stays the same.
Source: balance of moments; the arc is taken for straight, which at 10 mm of travel and 200 mm of lever is wrong by
less than 0.1 %. What is not known of d and L acts as a doubt of both scales (`with_lever`).
"""

from __future__ import annotations

from dataclasses import replace

from processing.budget.calibration_lines import CalibrationDoubt, Doubt
from processing.calibration import contact_point as lever
from processing.errors import NoContactPoint
from processing.stages import CalibratedTrace, FloatArray
from recordings.calibration_record import CalibrationRecord
from recordings.types import Calibration


def at_front_edge(trace: CalibratedTrace, calibration: Calibration) -> CalibratedTrace:
    """Return a key's samples as they would be at its front edge.

    Raises NoContactPoint if the calibration record does not say where the plunger presses and how long the lever is.
    """
    contact = calibration.record.contact_point if calibration.record else None
    if contact is None or contact.lever_mm is None:
        raise NoContactPoint
    share = (contact.lever_mm - contact.behind_front_mm) / contact.lever_mm

    def give_mm(force: FloatArray) -> FloatArray:
        return trace.give_mm(force / share) / share

    return replace(
        trace,
        force_newton=trace.force_newton * share,
        displacement_mm=trace.displacement_mm / share,
        give_mm=give_mm,
        displacement_step_mm=trace.displacement_step_mm / share,
        displacement_noise_mm=trace.displacement_noise_mm / share,
        force_range_newton=_scaled(trace.force_range_newton, share),
        displacement_range_mm=_scaled(trace.displacement_range_mm, 1.0 / share),
    )


def with_lever(doubt: CalibrationDoubt, record: CalibrationRecord) -> CalibrationDoubt:
    """Return a record's doubt with what place and lever leave open of numbers at the front edge.

    What it does to force and travel hangs together; it is taken apart, which is wrong for works alone: these do not
    change at all with the lever.
    """
    contact = record.contact_point
    if contact is None or contact.lever_mm is None:
        return doubt
    point = lever.ContactPoint(
        contact.behind_front_mm, contact.lever_mm, contact.u_behind_front_mm, contact.u_lever_mm or 0.0
    )
    force, travel = lever.force_at_contact_per_edge(point), lever.travel_at_contact_per_edge(point)
    return replace(doubt, force_by_lever=Doubt(force.u / force.factor), travel_by_lever=Doubt(travel.u / travel.factor))


def _scaled(ends: tuple[float, float] | None, factor: float) -> tuple[float, float] | None:
    return None if ends is None else (ends[0] * factor, ends[1] * factor)
