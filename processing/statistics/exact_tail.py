"""How often chance makes one normal value large against several others, when none of them is like another.

How it works: the probability that one squared normal value is more than a weighted sum of other squared ones is one
integral over an angle, which Gauss and Legendre's rule does to the last digits. With equal weights it is Student's t;
so a mean of correlated values over what their scatter shows has the tail that it has, and not that of a t which fits
its variance. A probability that is the mean over several such cases is met by a scaled t at two levels.
Sources: the integral: Bakirov & Szekely, J. Math. Sci. 139:6497, 2006, as used by Mueller & Watson, Econometrica
90:2901, 2022 (both from memory; the tests hold it against Student's t, against Cauchy's law and against drawn values).
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.special import stdtrit

from processing.stages import FloatArray

NODES, WEIGHTS = np.polynomial.legendre.leggauss(40)
ANGLES = 0.25 * np.pi * (NODES + 1.0)
ANGLE_WEIGHTS = 0.5 * WEIGHTS
LEVELS = (0.05, 0.0005)
"""Two-sided, at which the scaled t is met: that of an interval, and that of one test among a hundred."""
SQUARES = np.geomspace(0.3, 1e7, 30)
"""Of the ratio, at which its tail is reckoned; between them it is smooth."""
FEWEST_DOF, MOST_DOF = 0.5, 1e4


def chance_of_more(weights: FloatArray) -> FloatArray:
    """Return the probability that Z0^2 > sum of weights (..., q) times Zj^2; all Z are independent standard normal.

    >>> round(float(chance_of_more(np.array([1.0]))), 12)
    0.5
    """
    squares = np.cos(ANGLES) ** 2
    count = weights.shape[-1]
    logarithm = 0.5 * count * np.log(squares) - 0.5 * np.log(squares + weights[..., None]).sum(axis=-2)
    return np.asarray(np.exp(logarithm) @ ANGLE_WEIGHTS)


def tail_of_ratio(joint: FloatArray) -> FloatArray:
    """Return the probabilities (S,) that a value squared is more than SQUARES times the mean square of others.

    joint: covariance of the value and the q others, shape (1 + q, 1 + q), the value first.
    """
    root, count = np.linalg.cholesky(joint), len(joint) - 1
    signs = np.ones((len(SQUARES), count + 1))
    signs[:, 1:] = -SQUARES[:, None] / count
    eigenvalues = np.linalg.eigvalsh(root.T @ (signs[:, :, None] * root))
    return chance_of_more(-eigenvalues[:, :-1] / eigenvalues[:, -1:])


def scaled_t(tail: FloatArray) -> tuple[float, float]:
    """Return scale and degrees of freedom of the t that has the tail (S,) at SQUARES, met at LEVELS."""
    square_at = PchipInterpolator(-np.log(tail), np.log(SQUARES))
    near, far = (float(np.exp(0.5 * square_at(-np.log(level)))) for level in LEVELS)

    def too_short(logarithm: float) -> float:
        tails = stdtrit(np.exp(logarithm), 1.0 - np.array(LEVELS) / 2.0)
        return float(np.log(tails[1] / tails[0]) - np.log(far / near))

    ends = np.log([FEWEST_DOF, MOST_DOF])
    dof = MOST_DOF if too_short(ends[1]) >= 0.0 else float(np.exp(brentq(too_short, *ends)))
    return near / float(stdtrit(dof, 1.0 - LEVELS[0] / 2.0)), dof
