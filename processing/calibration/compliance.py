"""How far the rig itself gives under load, from presses on a rigid stop.

How it works: against a stop that does not give, all way is the frame's. Each press is fitted by straight pieces between
knots of force, none of which may fall (least squares with bounds, scipy's lsq_linear): a monotone piecewise linear
curve. Its first piece is drawn on to no force, so the give is 0 there. The mean over the presses is the give; its
covariance is that of the presses' scatter over their number (type A), which holds noise, seating and friction alike.
Sources: monotone spline by non-negative increments (Ramsay, Statist. Sci. 3:425, 1988, of order one); GUM 4.2, 5.2.3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import lsq_linear

from processing.calibration.errors import OutsideRange, TooFewReadings
from processing.calibration.settings import ComplianceSettings
from processing.stages import FloatArray, read_only


@dataclass(frozen=True, slots=True, eq=False)
class StopPress:
    """One press on the stop: force, zero taken out, and displacement of the stage, arrays (N,)."""

    force_newton: FloatArray
    displacement_mm: FloatArray

    def __post_init__(self) -> None:
        read_only(self.force_newton, self.displacement_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Compliance:
    """The frame's give, at K knots of force, straight between them. All arrays read-only."""

    force_newton: FloatArray
    """(K,), from 0 to the largest force that every press reached."""
    give_mm: FloatArray
    """(K,), 0 first, never falling."""
    covariance_mm2: FloatArray
    """(K, K), of the mean."""
    dof: int
    """Presses less one."""
    mm_per_newton: float
    """Straight line through no force, by least squares over the knots: for who keeps one number."""
    mm_per_newton_u: float
    """From the presses' scatter."""
    bow_mm: float
    """Largest distance of the knots from that line."""

    def __post_init__(self) -> None:
        read_only(self.force_newton, self.give_mm, self.covariance_mm2)


def find_compliance(presses: Sequence[StopPress], settings: ComplianceSettings | None = None) -> Compliance:
    """Return the give of the frame. Raises TooFewReadings: fewer than three presses, or too few samples in a piece."""
    knobs = settings or ComplianceSettings()
    if len(presses) < 3:
        raise TooFewReadings(
            f"{len(presses)} presses on the stop; press three times or more, so that their scatter shows"
        )
    reached = min(float(np.max(press.force_newton)) for press in presses)
    knots = np.linspace(0.0, reached, knobs.pieces + 1)
    gives = np.array([_give_of(press, knots, knobs.fewest_samples) for press in presses])
    covariance = np.atleast_2d(np.cov(gives, rowvar=False)) / len(presses)
    estimator = knots / np.sum(knots**2)
    mean = gives.mean(axis=0)
    slope = float(estimator @ mean)
    return Compliance(
        force_newton=knots,
        give_mm=mean,
        covariance_mm2=covariance,
        dof=len(presses) - 1,
        mm_per_newton=slope,
        mm_per_newton_u=float(np.sqrt(estimator @ covariance @ estimator)),
        bow_mm=float(np.max(np.abs(mean - slope * knots))),
    )


def give_mm(compliance: Compliance, force_newton: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the give at forces and its standard uncertainty, mm; pulls give nothing back, as with no force.

    Raises OutsideRange beyond the largest force that was pressed: what the frame does there nobody has seen.
    """
    force = np.maximum(np.asarray(force_newton, np.float64), 0.0)
    most = float(compliance.force_newton[-1])
    if np.any(force > most * (1.0 + 1e-9)):
        raise OutsideRange(f"{float(force.max()):.2f} N is beyond the stop's {most:.2f} N; press harder on the stop")
    weights = _hats(np.minimum(force, most), compliance.force_newton)
    variance = np.einsum("...i,ij,...j->...", weights, compliance.covariance_mm2, weights)
    give: FloatArray = weights @ compliance.give_mm
    u: FloatArray = np.sqrt(np.maximum(variance, 0.0))
    return give, u


def _hats(force: FloatArray, knots: FloatArray) -> FloatArray:
    """Return the weight of each knot in the straight line between two of them, (..., K)."""
    step = knots[1] - knots[0]
    weights: FloatArray = np.maximum(0.0, 1.0 - np.abs(force[..., None] - knots) / step)
    return weights


def _give_of(press: StopPress, knots: FloatArray, fewest: int) -> FloatArray:
    """Return the monotone give of one press at the knots; what lies in the air or beyond the last knot is not used."""
    step = knots[1]
    used = (press.force_newton > 0.02 * knots[-1]) & (press.force_newton <= knots[-1])
    force, way = press.force_newton[used], press.displacement_mm[used]
    filled = np.bincount(np.minimum((force / step).astype(int), len(knots) - 2), minlength=len(knots) - 1)
    if filled.min() < fewest:
        piece = int(np.argmin(filled))
        raise TooFewReadings(
            f"{filled[piece]} samples between {knots[piece]:.2f} and {knots[piece + 1]:.2f} N;"
            f" press slower, so that there are {fewest} at least"
        )
    ramps = np.clip((force[:, None] - knots[:-1]) / step, 0.0, 1.0)
    design = np.column_stack([np.ones_like(force), ramps])
    lowest = np.array([-np.inf, *([0.0] * ramps.shape[1])])
    solved = lsq_linear(design, way - way.mean(), (lowest, np.inf), method="bvls")
    give: FloatArray = np.concatenate(([0.0], np.cumsum(np.maximum(solved.x[1:], 0.0))))
    return give
