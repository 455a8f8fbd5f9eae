"""A calibration record in lines for a person: whose, from when to when, what was found, what is not in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from recordings.calibration_record import CalibrationRecord, CountPolynomial

WORDS_OF = {
    "interpolation_error_newton": "interpolation error",
    "repeatability_newton": "repeatability",
    "reversibility_newton": "reversibility",
    "zero_return_newton": "zero return",
    "creep_newton": "creep",
    "lower_limit_newton": "lower limit",
    "resolution_newton": "resolution",
}


def record_lines(record: CalibrationRecord) -> Iterator[str]:
    """Yield the lines that tell what a record says, in N and mm."""
    from recordings.calibration_file import content_id

    yield f"calibration record {content_id(record)}"
    yield f"rig: {record.rig.model} {record.rig.serial_number}"
    yield f"made {record.made_at.isoformat()}, valid until {record.valid_until.isoformat()}"
    yield f"by {record.operator or 'nobody named'}, keyplumb {record.software_version}"
    if record.room is not None:
        told = ((record.room.celsius, "°C"), (record.room.humidity_percent, "%"), (record.room.pressure_hpa, "hPa"))
        yield f"room: {', '.join(f'{value:g} {unit}' for value, unit in told if value is not None)}"
    if record.supersedes:
        yield f"supersedes {record.supersedes}"
    if record.note:
        yield f"note: {record.note}"
    yield from _force_lines(record)
    yield from _way_lines(record)
    if record.missing_parts:
        yield f"not calibrated: {', '.join(record.missing_parts)}"


def _force_lines(record: CalibrationRecord) -> Iterator[str]:
    if record.force is None:
        return
    yield f"force: {_polynomial(record.force.polynomial, 'N')}"
    for field in fields(record.force):
        value = getattr(record.force, field.name)
        if field.name in WORDS_OF and value is not None:
            yield f"  {WORDS_OF[field.name]}: {value:.3g} N"
    if record.force.masses:
        yield f"  masses: {', '.join(mass.name for mass in record.force.masses)}"


def _way_lines(record: CalibrationRecord) -> Iterator[str]:
    if record.displacement is not None:
        yield f"displacement: {_polynomial(record.displacement.polynomial, 'mm')}"
        if record.displacement.reference:
            yield f"  reference: {record.displacement.reference}"
        if record.displacement.backlash_mm is not None:
            yield f"  backlash: {record.displacement.backlash_mm:.3g} mm"
    if record.compliance is not None:
        end = record.compliance.points[-1]
        yield f"give of the rig: {end.mm:.4g} mm at {end.newton:g} N (u {end.u_mm:.2g} mm)"
    if record.skew is not None:
        yield f"skew: the force is {record.skew.us:g} us late (u {record.skew.u_us:.2g} us)"
    if record.contact_point is not None:
        lever = record.contact_point.lever_mm
        from_edge = f"{record.contact_point.behind_front_mm:g} mm behind the front edge"
        yield f"contact point: {from_edge}{'' if lever is None else f', lever {lever:g} mm'}"
    if record.environment is not None:
        yield f"found at {record.environment.celsius:g} °C"


def _polynomial(polynomial: CountPolynomial, unit: str) -> str:
    shape = "straight line" if len(polynomial.coefficients) == 2 else "parabola"
    low, high = polynomial.range()
    slope = polynomial.slope_at(polynomial.reference_counts)
    return f"{shape}, {slope:.6g} {unit} a count, calibrated from {low:.4g} to {high:.4g} {unit}"
