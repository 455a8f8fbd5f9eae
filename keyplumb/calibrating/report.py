"""What a calibration has found: as plain data, and as lines for people. Standard uncertainties throughout, as u."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import sqrt
from typing import Any

import numpy as np

from processing.calibration.derive import (
    Derived,
    DerivedCompliance,
    DerivedDisplacement,
    DerivedForce,
    DerivedSkew,
    Fault,
)


@dataclass(frozen=True, slots=True)
class Number:
    """One line of the report. u: standard uncertainty, None: not stated; value None: not found, the words say why."""

    name: str
    value: float | None
    unit: str
    words: str
    u: float | None = None


def numbers_of(derived: Derived) -> tuple[Number, ...]:
    """Return all numbers that a calibration has found, in the order of the report."""
    match derived:
        case DerivedForce():
            return _force(derived)
        case DerivedDisplacement():
            return _displacement(derived)
        case DerivedCompliance():
            return _compliance(derived)
        case DerivedSkew():
            return _skew(derived)


def _force(derived: DerivedForce) -> tuple[Number, ...]:
    one, polynomial = derived.calibration, derived.part.polynomial
    u = np.sqrt(np.diag(one.covariance))
    degree = "straight line" if one.choice.degree == 1 else "parabola"
    curve = [
        Number("scale", polynomial.coefficients[1], "N/count", "slope at the zero", float(u[1])),
        *(
            [Number("curvature", polynomial.coefficients[2], "N/count^2", "of the parabola", float(u[2]))]
            if one.choice.degree == 2
            else []
        ),
    ]
    hold = "last less first reading of the hold" + ("" if one.creep_s is None else f" of {one.creep_s:.0f} s")
    return (
        *curve,
        Number("bend_p_value", one.choice.p, "1", f"{degree}: chance of such a bend in a straight cell"),
        Number("effective_dof", polynomial.dof, "1", "degrees of freedom of the scale"),
        Number("residual_sd", one.residual_sd_newton, "N", f"standard deviation of the readings, {one.dof} dof"),
        Number("interpolation_error", one.interpolation_newton, "N", "largest distance of a level from the curve"),
        Number("interpolation_share", one.interpolation_share, "1", "largest such distance over its level's force"),
        Number("reversibility", one.reversibility_newton, "N", "down less up, where it is largest"),
        Number("repeatability", one.repeatability_newton, "N", "largest span of one level over the cycles"),
        Number("zero_return", one.zero_return_newton, "N", "largest change of the empty reading over a cycle"),
        Number("creep", one.creep_newton, "N", hold),
        Number("lower_limit", one.lower_limit_newton, "N", "lower limit factor: 2.4 standard deviations"),
        Number("resolution", one.resolution_newton, "N", "one count"),
        Number("noise", one.noise_newton, "N", "standard deviation of one sample"),
        Number("lowest_load", one.lowest_newton, "N", "calibrated from here"),
        Number("highest_load", one.highest_newton, "N", "to here"),
    )


def _displacement(derived: DerivedDisplacement) -> tuple[Number, ...]:
    one, part = derived.calibration, derived.part
    polynomial = part.polynomial
    u_offset = sqrt(polynomial.covariance[0][0])
    return (
        Number("scale", polynomial.coefficients[1], "mm/count", "downward", one.mm_per_count_u),
        Number("offset", polynomial.coefficients[0], "mm", "place of the middle count, as the rig states it", u_offset),
        Number("backlash", part.backlash_mm, "mm", "going down less going up, at one count", part.u_backlash_mm),
        Number("cosine_error", None, "1", "not corrected; its standard uncertainty by lean", part.u_cosine_error),
        Number("step", part.step_mm, "mm", "one count"),
        Number("residual_sd", one.residual_sd_mm, "mm", f"standard deviation of the readings, {one.dof} dof"),
        Number("lowest", one.lowest_mm, "mm", "lengths calibrated from here"),
        Number("highest", one.highest_mm, "mm", "to here"),
    )


def _compliance(derived: DerivedCompliance) -> tuple[Number, ...]:
    one = derived.calibration
    points = [
        Number(f"give_at_{point.newton:.2f}_N", point.mm, "mm", f"give at {point.newton:.2f} N", point.u_mm)
        for point in derived.part.points[1:]
    ]
    return (
        *points,
        Number("mm_per_newton", one.mm_per_newton, "mm/N", "straight line through no force", one.mm_per_newton_u),
        Number("bow", one.bow_mm, "mm", "largest distance from that line"),
    )


def _skew(derived: DerivedSkew) -> tuple[Number, ...]:
    one, part = derived.calibration, derived.part
    speeds = sorted({round(loop.speed_mm_per_s, 1) for loop in derived.loops})
    words = f"the force is late by this, from {len(derived.loops)} strokes at {speeds[0]:g} to {speeds[-1]:g} mm/s"
    return (
        Number("skew", part.us, "us", words, part.u_us),
        Number("friction", one.friction_newton, "N", "half of the loop that stays at no speed"),
    )


def numbers_as_dict(numbers: tuple[Number, ...]) -> dict[str, Any]:
    """Return the numbers as plain data for JSON."""
    return {one.name: {"value": one.value, "unit": one.unit, "u": one.u, "words": one.words} for one in numbers}


def faults_as_list(faults: tuple[Fault, ...]) -> list[dict[str, Any]]:
    """Return faults as plain data for JSON."""
    return [asdict(fault) for fault in faults]


def lines_of(numbers: tuple[Number, ...]) -> list[str]:
    """Return the numbers as lines for people: name, value, standard uncertainty, unit and meaning."""
    return [f"  {one.name:20} {_shown(one):>28} {_unit(one.unit):10} {one.words}" for one in numbers]


def _unit(unit: str) -> str:
    return "" if unit == "1" else unit


def _shown(one: Number) -> str:
    u = "" if one.u is None else f"u {one.u:.2g}"
    if one.value is None:
        return u or "not found"
    return f"{one.value:.7g}{' ' + u if u else ''}" if one.u is not None else f"{one.value:.4g}"
