"""How far a calibration record may be off, in the terms of the budget (`budget/calibration_lines.py`).

How it works: the record's polynomials stand over counts; the budget wants the same doubt over what is shown, in N or
mm. Zeros fall out of every number, so only slope and curvature are left: a doubt du1 of the slope c1 is du1 / c1 of
the scale, a doubt du2 of the curvature is du2 / c1^2 a unit. Backlash is given as a whole step; its doubt is that of
the step.
"""

from __future__ import annotations

import numpy as np

from processing.budget.calibration_lines import CalibrationDoubt, Doubt, FitDoubt
from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF
from recordings.calibration_record import CalibrationRecord, Compliance, CountPolynomial


def doubt_of(record: CalibrationRecord | None, *, room_celsius: float | None) -> CalibrationDoubt | None:
    """Return the doubt of a record; None without one. room_celsius: where the recording was made, None: not known."""
    if record is None:
        return None
    displacement = record.displacement
    backlash = displacement.u_backlash_mm if displacement is not None else None
    return CalibrationDoubt(
        force=_fit_doubt(record.force.polynomial) if record.force is not None else None,
        displacement=_fit_doubt(displacement.polynomial) if displacement is not None else None,
        compliance_mm_per_newton=Doubt(_u_mm_per_newton(record.compliance)) if record.compliance is not None else None,
        skew_s=Doubt(record.skew.u_us * 1e-6) if record.skew is not None else None,
        backlash_mm=Doubt(backlash) if backlash is not None else None,
        kelvin_off=_kelvin_off(record, room_celsius),
        force_by_temperature=_by_coefficient(record, room_celsius, "force"),
        displacement_by_temperature=_by_coefficient(record, room_celsius, "displacement"),
        reversibility_newton=record.force.reversibility_newton if record.force is not None else None,
    )


def _fit_doubt(polynomial: CountPolynomial) -> FitDoubt:
    slope = polynomial.coefficients[1]
    per_shown = np.diag([0.0, 1.0 / slope, 1.0 / slope**2][: len(polynomial.coefficients)])
    covariance = per_shown @ np.array(polynomial.covariance) @ per_shown
    return FitDoubt(covariance, AS_GOOD_AS_KNOWN_DOF if polynomial.dof is None else polynomial.dof)


def _u_mm_per_newton(compliance: Compliance) -> float:
    """Return the largest doubt of the give per newton over its points."""
    return max((point.u_mm / point.newton for point in compliance.points if point.newton > 0.0), default=0.0)


def _found_at_celsius(record: CalibrationRecord) -> float | None:
    """Return the temperature at which the force was calibrated; None: not known."""
    if record.environment is not None:
        return record.environment.celsius
    return record.room.celsius if record.room is not None else None


def _kelvin_off(record: CalibrationRecord, room_celsius: float | None) -> float | None:
    """Return how far the room is from that of the calibration; None: both are not known, or the drift is known."""
    known = record.environment is not None and record.environment.force_per_kelvin is not None
    found_at = _found_at_celsius(record)
    return None if known or found_at is None or room_celsius is None else abs(room_celsius - found_at)


def _by_coefficient(record: CalibrationRecord, room_celsius: float | None, channel: str) -> Doubt | None:
    """Return the doubt of a scale that was brought to the room's temperature by its coefficient; None: it was not."""
    environment = record.environment
    if environment is None or room_celsius is None or getattr(environment, f"{channel}_per_kelvin") is None:
        return None
    u_per_kelvin = getattr(environment, f"u_{channel}_per_kelvin")
    return None if u_per_kelvin is None else Doubt(abs(room_celsius - environment.celsius) * u_per_kelvin)
