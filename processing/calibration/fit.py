"""The straight line or parabola through readings, with covariance, and the way back.

How it works: least squares by QR in the variable u = (x - centre) / half-width, which lies in -1..1, so squares of
large counts do no harm. `estimator` tells how each coefficient follows from each y, so what is known about the y's
covariance (masses that several steps share) can be carried over. Weights are relative: the residuals tell the noise.
Sources: GUM 5.2, H.3; degree by the F test on the drop of the residual sum of squares (e-Handbook 4.4.4; ASTM E74).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb, copysign, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from processing.calibration.errors import OutsideRange, TooFewReadings
from processing.calibration.settings import DegreeSettings
from processing.stages import FloatArray, read_only


@dataclass(frozen=True, slots=True, eq=False)
class PolynomialFit:
    """y = sum of c_k ((x - centre) / half_width)^k, from N readings with P coefficients. All arrays read-only."""

    centre: float
    half_width: float
    coefficients: FloatArray
    """(P,), for the variable in -1..1; `in_powers` gives those of x itself."""
    covariance: FloatArray
    """(P, P), from the scatter of the residuals."""
    estimator: FloatArray
    """(P, N): coefficients = estimator @ y."""
    residuals: FloatArray
    """(N,), y - fit, unweighted."""
    residual_sd: float
    """Root of the weighted sum of squares over the degrees of freedom; for equal weights in the unit of y."""
    dof: int

    def __post_init__(self) -> None:
        read_only(self.coefficients, self.covariance, self.estimator, self.residuals)

    @property
    def degree(self) -> int:
        """1: straight line, 2: parabola."""
        return len(self.coefficients) - 1

    @property
    def residual_sum_of_squares(self) -> float:
        """Weighted sum of squared residuals."""
        return self.residual_sd**2 * self.dof


@dataclass(frozen=True, slots=True)
class DegreeChoice:
    """The F test of a parabola against a straight line."""

    degree: int
    f: float
    p: float
    """Chance of such a drop of the residual sum of squares if the truth is a straight line."""
    alpha: float


def fit_polynomial(x: ArrayLike, y: ArrayLike, degree: int, relative_u: ArrayLike | None = None) -> PolynomialFit:
    """Return the least-squares polynomial of a degree. relative_u: (N,), readings weigh 1 / u^2; None: all alike.

    Raises TooFewReadings unless there is a degree of freedom left and more different x than the degree.
    """
    x_, y_ = np.asarray(x, np.float64), np.asarray(y, np.float64)
    spare = len(x_) - degree - 1
    if spare < 1 or len(np.unique(x_)) < degree + 1:
        raise TooFewReadings(
            f"{len(x_)} readings at {len(np.unique(x_))} places cannot show a polynomial of degree {degree};"
            f" take at least {degree + 2} readings at {degree + 1} places"
        )
    centre, half_width = float((x_.max() + x_.min()) / 2.0), float((x_.max() - x_.min()) / 2.0)
    root_weight = np.ones_like(x_) if relative_u is None else 1.0 / np.asarray(relative_u, np.float64)
    design = np.vander((x_ - centre) / half_width, degree + 1, increasing=True)
    q, r = np.linalg.qr(design * root_weight[:, None])
    inverse = np.linalg.inv(r)
    estimator = (inverse @ q.T) * root_weight
    coefficients = inverse @ (q.T @ (y_ * root_weight))
    residuals = y_ - design @ coefficients
    sd = float(np.sqrt(np.sum((residuals * root_weight) ** 2) / spare))
    return PolynomialFit(
        centre, half_width, coefficients, sd**2 * (inverse @ inverse.T), estimator, residuals, sd, spare
    )


def choose_degree(
    x: ArrayLike, y: ArrayLike, relative_u: ArrayLike | None = None, settings: DegreeSettings | None = None
) -> tuple[PolynomialFit, DegreeChoice]:
    """Return the straight line, or the parabola if it takes away more of the residuals than chance would.

    Raises TooFewReadings as `fit_polynomial` does; three places at least are needed for the choice.
    """
    alpha = (settings or DegreeSettings()).alpha
    line, parabola = fit_polynomial(x, y, 1, relative_u), fit_polynomial(x, y, 2, relative_u)
    drop = line.residual_sum_of_squares - parabola.residual_sum_of_squares
    # readings without any scatter leave residuals of rounding only, which tell nothing about curvature
    weight = 1.0 if relative_u is None else 1.0 / np.asarray(relative_u, np.float64)
    rounding = float(np.mean((1e-12 * np.asarray(y, np.float64) * weight) ** 2))
    f = drop / max(parabola.residual_sd**2, rounding)
    p = float(fdtrc(1.0, float(parabola.dof), max(0.0, f)))
    better = p < alpha
    return (parabola if better else line), DegreeChoice(2 if better else 1, f, p, alpha)


def in_powers(fit: PolynomialFit) -> tuple[FloatArray, FloatArray]:
    """Return coefficients of 1, x, x^2 and their covariance, (P,) and (P, P)."""
    change = powers_from_scaled(fit.centre, fit.half_width, fit.degree)
    return change @ fit.coefficients, change @ fit.covariance @ change.T


def powers_from_scaled(centre: float, half_width: float, degree: int) -> FloatArray:
    """Return the matrix that takes coefficients of ((x - centre)/half_width)^k to those of x^j: binomial theorem."""
    change = np.zeros((degree + 1, degree + 1))
    for k in range(degree + 1):
        for j in range(k + 1):
            change[j, k] = comb(k, j) * (-centre) ** (k - j) / half_width**k
    return change


def predict(fit: PolynomialFit, x: ArrayLike, covariance: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
    """Return the curve at x and its standard uncertainty (without that of a new reading), both shaped like x.

    covariance: of the coefficients, where more than the residuals' scatter is known; None: the fit's own.
    """
    scaled = (np.asarray(x, np.float64) - fit.centre) / fit.half_width
    design = scaled[..., None] ** np.arange(fit.degree + 1)
    spread = fit.covariance if covariance is None else covariance
    value: FloatArray = design @ fit.coefficients
    u: FloatArray = np.sqrt(np.einsum("...i,ij,...j->...", design, spread, design))
    return value, u


def predict_inverse(
    fit: PolynomialFit, y: float, u_y: float = 0.0, covariance: FloatArray | None = None
) -> tuple[float, float]:
    """Return the x at which the curve has the value y, and its standard uncertainty by propagation.

    u_y: of the new y. Looks from the calibrated range to a tenth of it beyond either end.
    Raises OutsideRange if the curve does not pass y there, or passes it twice.
    Source: e-Handbook 2.3.6.7; u_x = sqrt(u_y^2 + u_curve^2) / |slope|.
    """
    inside = [root for root in _roots(fit.coefficients, y) if abs(root) <= 1.2]
    if len(inside) != 1:
        raise OutsideRange(f"{y:g} is met {len(inside)} times in the calibrated range; calibrate where it is met once")
    scaled = inside[0]
    x = fit.centre + fit.half_width * scaled
    slope = sum(k * fit.coefficients[k] * scaled ** (k - 1) for k in range(1, fit.degree + 1)) / fit.half_width
    _, u_curve = predict(fit, x, covariance)
    return x, float(np.hypot(u_y, u_curve) / abs(slope))


def _roots(coefficients: FloatArray, y: float) -> list[float]:
    """Return where a line or parabola has the value y; stable however small the square's coefficient is.

    Source: Press et al., Numerical Recipes, 5.6: the root that would cancel is had from the product of both.
    """
    c, b = float(coefficients[0] - y), float(coefficients[1])
    a = float(coefficients[2]) if len(coefficients) > 2 else 0.0
    under_root = b * b - 4.0 * a * c
    if under_root < 0.0:
        return []
    q = -0.5 * (b + copysign(sqrt(under_root), b))
    return [c / q if q else 0.0] + ([q / a] if a else [])
