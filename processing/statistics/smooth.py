"""Local lines: what each place's neighbourhood suggests, after LOESS.

How it works: at each place a line is fitted to the q nearest values with tricube weights and read off there; so the
fitted values are a matrix times the values, and how sure they are follows from it. Robust: values are weighted down by
their last residuals (bisquare) and the lines fitted again, three times.
Sources: Cleveland, JASA 74:829, 1979; degrees of freedom: Cleveland & Devlin, JASA 83:596, 1988.
"""

from __future__ import annotations

import numpy as np

from processing.stages import FloatArray

ROBUST_TIMES = 3
REACHES = 1.0 - 1e-9
"""A place at the very edge of the window has weight 0; rounding must not give it any."""
LEVEL = 1e-12
"""Of the window squared: places less spread than this carry no line, only a mean."""


def local_lines(at: FloatArray, places: FloatArray, window: int, trust: FloatArray | None = None) -> FloatArray:
    """Return the matrix (m, n) from values in `places` (n,) to fitted values at `at` (m,).

    window: nearest values that count, at most n; trust: (n,) a further weight of each value; None: all the same.
    """
    off = places - at[:, None]
    reach = np.partition(np.abs(off), min(window, len(places)) - 1, axis=1)[:, min(window, len(places)) - 1, None]
    near = np.clip(np.abs(off) / np.where(reach > 0.0, reach, 1.0), 0.0, 1.0)
    weights = np.where(near < REACHES, (1.0 - near**3) ** 3, 0.0)
    if trust is not None:  # where everything near is mistrusted, as if nothing were
        believed = weights * trust
        weights = np.where(believed.sum(axis=1, keepdims=True) > 0.0, believed, weights)
    weights = weights / weights.sum(axis=1, keepdims=True)
    mean = (weights * off).sum(axis=1, keepdims=True)
    square = (weights * (off - mean) ** 2).sum(axis=1, keepdims=True)
    told = square > LEVEL * reach**2
    tilt = np.divide(mean * (off - mean), square, out=np.zeros_like(off), where=told)
    rows: FloatArray = weights * (1.0 - tilt)
    return rows


def robust_trust(residuals: FloatArray) -> FloatArray:
    """Return bisquare weights (n,): 1 for small residuals, 0 for those beyond six median distances."""
    typical = float(np.median(np.abs(residuals)))
    if typical == 0.0:
        return np.ones(len(residuals))
    scaled = np.clip(residuals / (6.0 * typical), -1.0, 1.0)
    weights: FloatArray = (1.0 - scaled**2) ** 2
    return weights


def robust_lines(places: FloatArray, values: FloatArray, window: int) -> tuple[FloatArray, FloatArray]:
    """Return the matrix (n, n) of the robust local lines, and the trust (n,) that the last of them was made with."""
    trust = np.ones(len(values))
    matrix = local_lines(places, places, window, trust)
    for _ in range(ROBUST_TIMES):
        trust = robust_trust(values - matrix @ values)
        matrix = local_lines(places, places, window, trust)
    return matrix, trust
