"""Where in the travel two keyboards differ: mean difference of the curves with a band that holds all over the travel.

How it works: on each key that both have, the second's curve less the first's, on one way from touch; their mean over
the keys of a colour and region, and a standard error at each place from their scatter about a line along the keyboard
and from how neighbouring keys resemble each other; what errs alike on all keys (`shared_curves.py`) is added. The
band's factor is a quantile of the greatest studentised deviation over the travel among drawn keyboards without a
difference: as many keys, correlated alike, their curves mixed from the residuals of these keys, so that places that
vary together count as few. A band holds with so much that all bands together hold with what is stated (Bonferroni).
Sources: greatest studentised deviation: Degras, Statistica Sinica 21:1735, 2011; drawing from residuals: Efron &
Tibshirani 1993, the parametric bootstrap. That bands hold is shown by `make error-rates`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from processing.stages import Curve, FloatArray, read_only
from processing.statistics.correlated import Places, correlation_matrix, fading_of

Branch = Literal["down", "up"]
SharedOnTheWay = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]
"""Given places of the way (N,) and both mean curves there, the standard uncertainty (N,) of their difference by what
all keys of a recording share."""
BRANCHES: tuple[Branch, ...] = ("down", "up")
FEWEST_CURVES = 8
"""Fewer keys cannot tell how places of the way vary together."""
DRAWN_EVERY_MM = 0.15
"""Distance of places at which the greatest deviation is drawn: the smoothing makes nearer ones nearly one."""
PLACES_FOR_FADING = 12
"""Places along the way at which the resemblance of neighbours is asked."""
DRAWN_AT_ONCE = 100
"""Keyboards: few enough that they stay in the processor's cache."""
CAUTIOUS_SHARE = 0.75
"""Of these the upper quartile counts: with a resemblance that is too small a band would be too narrow."""


@dataclass(frozen=True, slots=True, eq=False)
class CurveBand:
    """Second less first along the way. Arrays (N,): mm from touch, N."""

    colour: str
    region: str
    branch: Branch
    keys: int
    way_mm: FloatArray
    first_newton: FloatArray
    second_newton: FloatArray
    """Mean curves of the keys that both have."""
    difference_newton: FloatArray
    u_newton: FloatArray
    half_width_newton: FloatArray
    """Of the band that holds all over the way, and with the other bands of the comparison, with 95 %."""
    factor: float
    """Half-width over u."""
    differs_mm: tuple[tuple[float, float], ...]
    """Stretches of the way on which the band leaves out 0."""

    def __post_init__(self) -> None:
        read_only(self.way_mm, self.first_newton, self.second_newton, self.difference_newton)
        read_only(self.u_newton, self.half_width_newton)


@dataclass(frozen=True, slots=True, kw_only=True)
class BandSettings:
    """How a band is drawn."""

    step_mm: float
    draws: int
    seed: int
    coverage: float


def forces_on(curves: Sequence[Curve], way_mm: FloatArray, branch: Branch) -> FloatArray:
    """Return the forces (n, N) of some curves at places of the way; both branches must be there."""
    sides = [(curve.way_mm, curve.down_newton if branch == "down" else curve.up_newton) for curve in curves]
    return np.array([np.interp(way_mm, way, side) for way, side in sides if side is not None])


def common_way(curves: Sequence[Curve], until_mm: float, step_mm: float) -> FloatArray:
    """Return places from touch to where the first of the curves ends, at most until_mm."""
    end = min(until_mm, *(float(curve.way_mm[-1]) for curve in curves))
    return np.arange(0.0, end + step_mm * 1e-6, step_mm)


def band_of(
    places: Places, differences: FloatArray, fading: float, shared_u: FloatArray, settings: BandSettings
) -> tuple[FloatArray, float]:
    """Return standard uncertainties (N,) and the factor of the band for differences (n, N) of n keys in their places.

    fading: correlation of next neighbours. shared_u: (N,) standard uncertainty that all keys share.
    """
    matrix = correlation_matrix(places, fading)
    free = _free_of_a_line(places)
    residuals = free @ differences
    expected = float(np.trace(free @ matrix))
    suffered = float(matrix.sum()) / len(places) ** 2
    u_keys = np.sqrt(np.sum(residuals**2, axis=0) / expected * suffered)
    root: FloatArray = np.asarray(np.linalg.cholesky(matrix), np.float64)
    factor = _greatest(residuals, free, root, suffered / expected, settings)
    return np.hypot(u_keys, shared_u), factor


def _free_of_a_line(places: Places) -> FloatArray:
    """Return the matrix (n, n) that takes a straight line along the keyboard out of values."""
    design = np.vander(np.array(places, np.float64) - np.mean(places), 2, increasing=True)
    free: FloatArray = np.eye(len(places)) - design @ np.linalg.pinv(design)
    return free


def fading_of_curves(runs: Sequence[tuple[Places, FloatArray]]) -> float:
    """Return how strongly next neighbours correlate, from differences (n, N) of the keys of each colour."""
    length = min(differences.shape[1] for _, differences in runs)
    columns = np.linspace(0, length - 1, PLACES_FOR_FADING).astype(int)
    told = [fading_of([(places, differences[:, column]) for places, differences in runs]) for column in columns]
    return float(np.round(np.quantile(told, CAUTIOUS_SHARE), 2))


def _greatest(residuals: FloatArray, free: FloatArray, root: FloatArray, share: float, settings: BandSettings) -> float:
    """Return the quantile of the greatest studentised deviation over the way, among keyboards without a difference.

    root: of the correlation of keys (n, n); share: variance of a mean over the residual sum of squares.
    """
    size = np.sqrt(np.sum(residuals**2, axis=0))
    thin = slice(None, None, max(1, round(DRAWN_EVERY_MM / settings.step_mm)))
    shape = (residuals[:, size > 0.0] / size[size > 0.0])[:, thin]
    if shape.shape[1] == 0:
        return 0.0
    count = len(residuals)
    residuals_then_mean = np.vstack([np.sqrt(share) * free @ root, root.mean(axis=0, keepdims=True)])
    random = np.random.default_rng(settings.seed)
    greatest = []
    for first in range(0, settings.draws, DRAWN_AT_ONCE):
        at_once = min(DRAWN_AT_ONCE, settings.draws - first)
        drawn = residuals_then_mean @ (random.standard_normal((at_once, count, count)) @ shape)
        squares = np.einsum("dkp,dkp->dp", drawn[:, :-1], drawn[:, :-1])
        greatest.append(np.sqrt(np.max(drawn[:, -1] ** 2 / squares, axis=1)))
    return float(np.quantile(np.concatenate(greatest), settings.coverage))


def curve_band(
    firsts: Sequence[Curve],
    seconds: Sequence[Curve],
    places: Places,
    *,
    about: tuple[str, str, Branch],
    until_mm: float,
    shared_u_of: SharedOnTheWay,
    fading: float,
    settings: BandSettings,
) -> CurveBand | None:
    """Return the band of one colour, region and branch, given by `about`; None for fewer than FEWEST_CURVES keys.

    firsts, seconds: curves of the same n keys in their places, all with the branch. until_mm: where the key bed begins.
    """
    if len(places) < FEWEST_CURVES:
        return None
    colour, region, branch = about
    way = common_way([*firsts, *seconds], until_mm, settings.step_mm)
    before, after = forces_on(firsts, way, branch), forces_on(seconds, way, branch)
    mean_before, mean_after = before.mean(axis=0), after.mean(axis=0)
    shared_u = shared_u_of(way, mean_before, mean_after)
    u, factor = band_of(places, after - before, fading, shared_u, settings)
    difference, half_width = mean_after - mean_before, factor * u
    return CurveBand(
        colour, region, branch, len(places), way, mean_before, mean_after, difference, u, half_width, factor,
        _stretches(way, np.abs(difference) > half_width),
    )  # fmt: skip


def _stretches(way: FloatArray, where: FloatArray) -> tuple[tuple[float, float], ...]:
    """Return the ends of the stretches in which a mask (N,) is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(int), [0]])))
    return tuple((float(way[start]), float(way[end - 1])) for start, end in edges.reshape(-1, 2))
