"""What a calibration has found, as the parts of a record: over counts as they come, with whole covariances.

How it works: a force fit stands over counts above the zero; the record's reference count is that zero. A gauge block
lifts the plunger, so displacement is the length with the other sign; its zero is set so that the middle of the way has
the place that the rig states, for only differences of places mean anything.
Sources: Welch-Satterthwaite, GUM G.4.1; the rest by the law of propagation, GUM 5.2.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, radians, sqrt

import numpy as np
from scipy.special import ndtri, stdtrit

from processing.calibration.compliance import Compliance
from processing.calibration.displacement_steps import DisplacementCalibration
from processing.calibration.force_steps import ForceCalibration
from processing.calibration.masses import MassList
from processing.calibration.sequence import LoadStep, net_counts
from processing.calibration.settings import DisplacementSettings
from processing.calibration.skew import Skew
from processing.stages import FloatArray
from recordings import calibration_record as record
from recordings.types import LinearScale

BELOW_ZERO_SHARE = 0.05
"""Of the calibrated range: a later zero may lie so far below (the pan's weight, a drift)."""


def force_part(calibration: ForceCalibration, steps: Sequence[LoadStep], masses: MassList) -> record.ForceCalibration:
    """Return the part of a record. steps: those that the calibration was made of."""
    zero = float(np.mean([step.mean_counts for step in steps if not step.masses]))
    net = net_counts(steps)
    most = float(net[np.argmax(np.abs(net))])
    low, high = sorted((zero - BELOW_ZERO_SHARE * most, zero + most))
    used = {name for step in steps for name in step.masses}
    return record.ForceCalibration(
        polynomial=record.CountPolynomial(
            reference_counts=zero,
            coefficients=tuple(map(float, calibration.coefficients)),
            covariance=_rows(calibration.covariance),
            dof=effective_dof(calibration),
            range_counts=(low, high),
        ),
        masses=tuple(
            record.Mass(
                name=mass.name,
                nominal_gram=mass.nominal_g,
                oiml_class=mass.oiml_class,
                certificate=masses.certificate if mass.expanded_uncertainty_mg is not None else None,
            )
            for mass in masses.masses
            if mass.name in used
        ),
        interpolation_error_newton=calibration.interpolation_newton,
        repeatability_newton=calibration.repeatability_newton,
        reversibility_newton=calibration.reversibility_newton,
        zero_return_newton=calibration.zero_return_newton,
        creep_newton=calibration.creep_newton,
        lower_limit_newton=calibration.lower_limit_newton,
        resolution_newton=calibration.resolution_newton,
    )


def effective_dof(calibration: ForceCalibration) -> float:
    """Return the degrees of freedom of the slope: those of the scatter, and masses and gravity as good as known."""
    scatter, whole = calibration.scatter_covariance[1, 1], calibration.covariance[1, 1]
    return float(min(calibration.dof * (whole / scatter) ** 2, AS_GOOD_AS_KNOWN)) if scatter > 0.0 else AS_GOOD_AS_KNOWN


AS_GOOD_AS_KNOWN = 1e6


def displacement_part(
    calibration: DisplacementCalibration,
    counts: FloatArray,
    stated: LinearScale,
    reference: str,
    *,
    u_backlash_by_skew_mm: float = 0.0,
    settings: DisplacementSettings | None = None,
) -> record.DisplacementCalibration:
    """Return the part of a record. counts: of all readings, (N,); reference: the blocks in words.

    u_backlash_by_skew_mm: what a force that comes late leaves open between both directions.
    """
    knobs = settings or DisplacementSettings()
    low, high = float(np.min(counts)), float(np.max(counts))
    middle = (low + high) / 2.0
    turn = np.array([[-1.0, -middle], [0.0, -1.0]])
    lean = radians(knobs.alignment_limit_deg) ** 2 / sqrt(20.0)
    return record.DisplacementCalibration(
        polynomial=record.CountPolynomial(
            reference_counts=middle,
            coefficients=(float(stated.physical(middle)), -calibration.mm_per_count),
            covariance=_rows(turn @ calibration.covariance[:2, :2] @ turn.T),
            dof=float(calibration.dof),
            range_counts=(low, high),
        ),
        reference=reference,
        backlash_mm=-calibration.backlash_mm,
        u_backlash_mm=hypot(calibration.backlash_u_mm, u_backlash_by_skew_mm),
        step_mm=abs(calibration.mm_per_count),
        u_cosine_error=lean,
    )


def compliance_part(compliance: Compliance) -> record.Compliance:
    """Return the part of a record: the knots, with what scatter and straight pieces between them leave open."""
    between = piecewise_bound_mm(compliance.give_mm) / sqrt(3.0)
    u = np.sqrt(np.diag(compliance.covariance_mm2)) * widening(compliance.dof)
    points = zip(compliance.force_newton.tolist(), compliance.give_mm.tolist(), u.tolist(), strict=True)
    return record.Compliance(
        points=tuple(
            record.CompliancePoint(newton=newton, mm=mm, u_mm=hypot(u_mm, between) if newton > 0.0 else 0.0)
            for newton, mm, u_mm in points
        )
    )


def piecewise_bound_mm(give_mm: FloatArray) -> float:
    """Return how far a smooth curve may lie off straight pieces between its knots: the largest second difference / 4.

    Source: h^2 |f''| / 8 is the error of a chord; twice that, since the pieces are fitted and not drawn through points.
    """
    return float(np.max(np.abs(np.diff(give_mm, 2)))) / 4.0 if len(give_mm) > 2 else 0.0


def skew_part(skew: Skew) -> record.Skew:
    """Return the part of a record."""
    return record.Skew(us=skew.delay_s * 1e6, u_us=skew.u_s * 1e6 * widening(skew.dof))


def widening(dof: int) -> float:
    """Return by how much a standard uncertainty of few degrees of freedom is to be widened where no place tells them.

    Twice the widened one then holds as often as t times the plain one does. Source: GUM G.3, t(95 %) over that of many.
    """
    return float(stdtrit(dof, 0.975) / ndtri(0.975))


def _rows(matrix: FloatArray) -> tuple[tuple[float, ...], ...]:
    symmetric = (matrix + matrix.T) / 2.0
    return tuple(tuple(map(float, row)) for row in symmetric)
