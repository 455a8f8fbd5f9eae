"""Lines of a budget that come from the calibration: how sure its constants are, and how each acts on a measurand.

How it works: the constants' covariances are plain arrays. How a measurand answers to a constant is asked of the
caller (`Sensitivity`), who bends the measured curve by it and reads it again; so one way serves every measurand. What
falls out of every number is left out: offsets of force and displacement, since the zero is read in the air of every
stroke and x = 0 is touch. Leaving the offset out of a joint distribution leaves the rest of its covariance as it is.
Sources: GUM (JCGM 100:2008) 5.1.4 (sensitivities by numbers), 5.2 (correlations), F.2.4 (calibrations).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF, Correlation, Line, Sensitivity
from processing.budget.sources import DRIFT_APART

FloatArray = NDArray[np.float64]
FORCE_POWERS = ("force scale", "curvature of the force scale")
DISPLACEMENT_POWERS = ("displacement scale", "curvature of the displacement scale")
COMPLIANCE, SKEW, BACKLASH = "give of the rig", "skew of force and displacement", "backlash of the gauge"
TEMPERATURE = "temperature, no coefficient known"
HYSTERESIS = "hysteresis of the cell"
FORCE_BY_TEMPERATURE = "temperature coefficient of the force"
DISPLACEMENT_BY_TEMPERATURE = "temperature coefficient of the displacement"
UNKNOWN_PER_KELVIN = 5e-4
"""Bound for the drift of a force scale of which nothing is known. From memory, common practice: compensated strain
gauge cells keep 2e-5 to 2e-4 a kelvin; foil gauges without compensation come near this."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One constant's standard uncertainty, in the constant's unit, and its degrees of freedom."""

    u: float
    dof: float = AS_GOOD_AS_KNOWN_DOF


@dataclass(frozen=True, slots=True, eq=False)
class FitDoubt:
    """A fitted scale, true = c0 + c1 shown + c2 shown^2: covariance (k, k) of its k = 2 or 3 coefficients.

    Shown and true are both in N, or both in mm; so c1 is a number near 1, and c2 in 1/N or 1/mm.
    """

    covariance: FloatArray
    dof: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationDoubt:
    """How far a calibration may be off. None: that part was not calibrated, and no line is made for it."""

    force: FitDoubt | None = None
    displacement: FitDoubt | None = None
    compliance_mm_per_newton: Doubt | None = None
    skew_s: Doubt | None = None
    backlash_mm: Doubt | None = None
    kelvin_off: float | None = None
    """How far the room may be from where the force was calibrated, if no temperature coefficient is known."""
    force_by_temperature: Doubt | None = None
    """Share of the force scale that its temperature coefficient leaves open, where the scale was corrected by it."""
    displacement_by_temperature: Doubt | None = None
    """The same of the displacement scale."""
    reversibility_newton: float | None = None
    """By how much the cell showed more when the same load was come to from above."""


def calibration_lines(
    doubt: CalibrationDoubt, sensitivity: Sensitivity
) -> tuple[tuple[Line, ...], tuple[Correlation, ...]]:
    """Return the lines that a calibration gives a measurand, and the correlations among them."""
    lines: list[Line] = []
    correlations: list[Correlation] = []
    for fit, names, unit in ((doubt.force, FORCE_POWERS, "N"), (doubt.displacement, DISPLACEMENT_POWERS, "mm")):
        if fit is not None:
            more, related = fit_lines(fit, names, unit, sensitivity)
            lines += more
            correlations += related
    constants = (
        (COMPLIANCE, doubt.compliance_mm_per_newton, "mm/N"),
        (SKEW, doubt.skew_s, "s"),
        (BACKLASH, doubt.backlash_mm, "mm"),
    )
    lines += [_line(name, known, unit, sensitivity(name)) for name, known, unit in constants if known is not None]
    for name, known, scale in (
        (FORCE_BY_TEMPERATURE, doubt.force_by_temperature, FORCE_POWERS[0]),
        (DISPLACEMENT_BY_TEMPERATURE, doubt.displacement_by_temperature, DISPLACEMENT_POWERS[0]),
    ):
        if known is not None:
            lines.append(_line(name, known, "1", sensitivity(scale)))
    if doubt.reversibility_newton is not None:
        lines.append(hysteresis_line(doubt.reversibility_newton, sensitivity(DRIFT_APART)))
    if doubt.kelvin_off is not None:
        lines.append(temperature_line(doubt.kelvin_off, sensitivity(FORCE_POWERS[0])))
    return tuple(lines), tuple(correlations)


def fit_lines(
    fit: FitDoubt, names: tuple[str, ...], unit: str, sensitivity: Sensitivity
) -> tuple[tuple[Line, ...], tuple[Correlation, ...]]:
    """Return a line for each coefficient of a fitted scale but its offset, and how they are correlated.

    Raises ValueError if the covariance is not one of 2 or 3 coefficients.
    """
    size = len(fit.covariance)
    if fit.covariance.shape != (size, size) or size - 1 not in range(1, len(names) + 1):
        raise ValueError(f"{names[0]}: a covariance of shape {fit.covariance.shape} is none of 2 or 3 coefficients")
    us = np.sqrt(np.diag(fit.covariance))
    units = ("1", f"1/{unit}")
    lines = tuple(
        _line(name, Doubt(float(us[place]), fit.dof), units[place - 1], sensitivity(name))
        for place, name in enumerate(names[: size - 1], 1)
    )
    if size < 3 or us[1] * us[2] == 0.0:
        return lines, ()
    r = float(np.clip(fit.covariance[1, 2] / (us[1] * us[2]), -1.0, 1.0))
    return lines, (Correlation(names[0], names[1], r),)


def hysteresis_line(reversibility_newton: float, apart_sensitivity: float) -> Line:
    """Return the line of a cell that shows less on the way down than on the way up.

    The scale lies in the middle of both, so either way is off by half of the difference at most; a key's loop is
    smaller than that of the masses, so it is anything up to there. apart_sensitivity: of the measurand to a force that
    is larger on the way down and smaller on the way up. Source: rectangle, GUM 4.3.7; the model is our own.
    """
    return Line(
        name=HYSTERESIS,
        kind="B",
        distribution="rectangular",
        u=float(abs(reversibility_newton) / 2.0 / np.sqrt(3.0)),
        unit="N",
        dof=AS_GOOD_AS_KNOWN_DOF,
        sensitivity=apart_sensitivity,
    )


def temperature_line(kelvin_off: float, scale_sensitivity: float) -> Line:
    """Return the line of a force scale that drifts with temperature by nobody knows how much.

    kelvin_off: bound of the difference from the calibration, K; scale_sensitivity: of the measurand to the scale.
    """
    u = kelvin_off * UNKNOWN_PER_KELVIN / np.sqrt(3.0)
    return Line(
        name=TEMPERATURE,
        kind="B",
        distribution="rectangular",
        u=float(u),
        unit="1",
        dof=AS_GOOD_AS_KNOWN_DOF,
        sensitivity=scale_sensitivity,
    )


def _line(name: str, doubt: Doubt, unit: str, sensitivity: float) -> Line:
    """Return a line of kind B: to the measurement the calibration is given, however it was had."""
    return Line(
        name=name, kind="B", distribution="normal", u=doubt.u, unit=unit, dof=doubt.dof, sensitivity=sensitivity
    )
