"""From a loading sequence to a calibration of the force: coefficients, their covariance, and how good the cell is.

How it works: forces of the stacks against counts above the zero of their time, all ways and cycles, weighted by the
noise of their means; straight line or parabola by F test. The covariance of the coefficients is that of the scatter
plus what the masses, gravity, air and tilt add through the estimator. In use the cell is zeroed in the air, so a force
is curve(net) - curve(0): `force_of` does that. Counts are taken as exact: their noise is 1e-4 of the range or less,
and flattens a slope by its square.
Sources: GUM 5.2; lower limit factor 2.4 s: ASTM E74; interpolation, reversibility, repeatability, zero and creep:
ISO 376, ISO 7500-1 (all from memory, in own words).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from processing.calibration.errors import TooFewReadings
from processing.calibration.fit import DegreeChoice, PolynomialFit, choose_degree, in_powers, powers_from_scaled
from processing.calibration.masses import StackForces
from processing.calibration.sequence import LoadStep, Way, cycles, net_counts, ways
from processing.calibration.settings import DegreeSettings
from processing.stages import BoolArray, FloatArray, read_only

LOWER_LIMIT_SIGMAS = 2.4
"""ASTM E74 (from memory)."""


@dataclass(frozen=True, slots=True)
class StepResidual:
    """How far a step lies off the curve: force laid on less force shown."""

    step: int
    """Place in the sequence, from 0."""
    way: Way
    cycle: int
    force_newton: float
    net_counts: float
    residual_newton: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ForceCalibration:
    """The force of a cell: newton = sum of c_k net_counts^k. Shares are of the largest force unless they say more."""

    coefficients: FloatArray
    """(P,): N, N per count, N per count^2; of counts above the zero."""
    covariance: FloatArray
    """(P, P), scatter and masses together."""
    scatter_covariance: FloatArray
    """(P, P), from the scatter alone; `dof` belongs to it."""
    dof: int
    choice: DegreeChoice
    residual_sd_newton: float
    residuals: tuple[StepResidual, ...]
    lowest_newton: float
    highest_newton: float
    lower_limit_newton: float
    """2.4 times the residuals' standard deviation."""
    interpolation_newton: float
    """Largest distance of a level's mean on the way up from the curve."""
    interpolation_share: float
    """Largest such distance over its level's own force."""
    repeatability_newton: float | None
    """Largest span over the cycles of one level on the way up; None: one cycle only."""
    reversibility_newton: float | None
    """Mean over cycles of down less up, at the level where it is largest; None: no level was met both ways."""
    zero_return_newton: float
    """Largest change of the empty reading over a cycle, in size."""
    creep_newton: float | None
    """Last less first reading of the longest hold; None: nothing was held."""
    creep_s: float | None
    resolution_newton: float
    """One count."""
    noise_newton: float
    """Standard deviation of one sample, median of the steps."""

    def __post_init__(self) -> None:
        read_only(self.coefficients, self.covariance, self.scatter_covariance)

    @property
    def newton_per_count(self) -> float:
        """Slope at zero; negative if counts fall under load."""
        return float(self.coefficients[1])


def force_of(calibration: ForceCalibration, net_counts: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return force and its standard uncertainty from calibration, N, shaped like net_counts (above the zero in air)."""
    net = np.asarray(net_counts, np.float64)
    powers = net[..., None] ** np.arange(len(calibration.coefficients))
    powers[..., 0] = 0.0
    u: FloatArray = np.sqrt(np.einsum("...i,ij,...j->...", powers, calibration.covariance, powers))
    force: FloatArray = powers @ calibration.coefficients
    return force, u


def calibrate_force(
    steps: Sequence[LoadStep], forces: StackForces, settings: DegreeSettings | None = None
) -> ForceCalibration:
    """Return the calibration that a loading sequence makes. forces: of the steps' stacks, in their order.

    Nothing is left out, whatever it looks like: see `mistakes.find_mistakes`, and repeat what it names.
    Raises TooFewReadings if zeros are missing, or fewer than three levels of load or five loaded readings are there.
    """
    net, way, cycle = net_counts(steps), ways(steps, forces.force_newton), cycles(steps)
    used = _taking_part(way, forces.force_newton)
    force = forces.force_newton[used]
    fit, choice = choose_degree(net[used], force, _relative_u(steps, used), settings)
    coefficients, scatter, by_masses = _in_powers(fit, forces.covariance_newton2[np.ix_(used, used)])
    residual_sd = float(np.sqrt(np.sum(fit.residuals**2) / fit.dof))
    table = _table(way, cycle, force, net[used], fit.residuals)
    off, slope = _interpolation(table), abs(float(coefficients[1]))
    hold, hold_s = _creep(steps, way, net, slope)
    return ForceCalibration(
        coefficients=coefficients,
        covariance=scatter + by_masses,
        scatter_covariance=scatter,
        dof=fit.dof,
        choice=choice,
        residual_sd_newton=residual_sd,
        residuals=table,
        lowest_newton=float(force.min()),
        highest_newton=float(force.max()),
        lower_limit_newton=LOWER_LIMIT_SIGMAS * residual_sd,
        interpolation_newton=max(map(abs, off.values())),
        interpolation_share=max(abs(each) / level for level, each in off.items()),
        repeatability_newton=_repeatability(table),
        reversibility_newton=_reversibility(table),
        zero_return_newton=_zero_return(steps, cycle) * slope,
        creep_newton=hold,
        creep_s=hold_s,
        resolution_newton=slope,
        noise_newton=float(np.median([step.sd_counts for step in steps])) * slope,
    )


def _taking_part(way: Sequence[Way], force_newton: FloatArray) -> BoolArray:
    """Return which steps the curve is fitted to, (N,): loaded, and not held. Raises TooFewReadings."""
    used = np.array([name in ("up", "down") for name in way])
    loads = len(_levels(force_newton[used]))
    if used.sum() < 5 or loads < 3:
        raise TooFewReadings(f"{used.sum()} readings at {loads} loads; take five or more at three or more")
    return used


def _table(
    way: Sequence[Way], cycle: Sequence[int], force: FloatArray, net: FloatArray, off: FloatArray
) -> tuple[StepResidual, ...]:
    """Return a row for each step that takes part; force, net and off are of these alone."""
    places = [place for place, name in enumerate(way) if name in ("up", "down")]
    return tuple(
        StepResidual(place, way[place], cycle[place], float(force[k]), float(net[k]), float(off[k]))
        for k, place in enumerate(places)
    )


def _in_powers(fit: PolynomialFit, force_covariance: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return coefficients in powers of counts, and their covariance by scatter and by the forces' own."""
    coefficients, scatter = in_powers(fit)
    estimator = powers_from_scaled(fit.centre, fit.half_width, fit.degree) @ fit.estimator
    return coefficients, scatter, estimator @ force_covariance @ estimator.T


def _relative_u(steps: Sequence[LoadStep], used: BoolArray) -> FloatArray:
    """Return how unsure each mean is: its own noise, never less than the rounding to whole counts (1 / sqrt 12)."""
    u = np.array([np.hypot(step.sd_counts, 1.0 / np.sqrt(12.0)) / np.sqrt(step.samples) for step in steps])
    # the noise of a single reading is itself an estimate; the pooled one of like steps keeps a lucky step from ruling
    relative: FloatArray = np.maximum(u, np.median(u))[used]
    return relative


def _levels(force_newton: FloatArray) -> FloatArray:
    """Return the different forces; the same stack gives the same number to the last digits."""
    return np.unique(np.round(force_newton, 9))


def _by_level(table: tuple[StepResidual, ...], way: Way) -> dict[float, list[StepResidual]]:
    found: dict[float, list[StepResidual]] = {}
    for row in table:
        if row.way == way:
            found.setdefault(round(row.force_newton, 9), []).append(row)
    return found


def _interpolation(table: tuple[StepResidual, ...]) -> dict[float, float]:
    """Return the mean distance from the curve of each level on the way up, by force in N."""
    return {
        level: float(np.mean([row.residual_newton for row in rows])) for level, rows in _by_level(table, "up").items()
    }


def _repeatability(table: tuple[StepResidual, ...]) -> float | None:
    spans = [
        float(np.ptp([row.residual_newton for row in rows]))
        for rows in _by_level(table, "up").values()
        if len(rows) > 1
    ]
    return max(spans) if spans else None


def _reversibility(table: tuple[StepResidual, ...]) -> float | None:
    """Return down less up in shown force: a residual is laid on less shown, so the signs turn."""
    up, down = _by_level(table, "up"), _by_level(table, "down")
    differences = [
        float(
            np.mean([row.residual_newton for row in up[level]]) - np.mean([row.residual_newton for row in down[level]])
        )
        for level in up
        if level in down
    ]
    return max(differences, key=abs) if differences else None


def _zero_return(steps: Sequence[LoadStep], cycle: list[int]) -> float:
    """Return the largest change of the empty reading over one cycle, counts."""
    changes = []
    for number in range(max(cycle) + 1):
        loaded = [place for place, step in enumerate(steps) if cycle[place] == number and step.masses]
        changes.append(steps[loaded[-1] + 1].mean_counts - steps[loaded[0] - 1].mean_counts)
    return max(abs(change) for change in changes)


def _creep(
    steps: Sequence[LoadStep], way: list[Way], net: FloatArray, slope: float
) -> tuple[float | None, float | None]:
    """Return by how much the longest hold changed, N (positive: it shows more), and how long it was, s."""
    best: tuple[float | None, float | None] = (None, None)
    first = 0
    for place, name in enumerate(way):
        if name != "hold":
            first = place
            continue
        lasted = steps[place].time_s - steps[first].time_s
        if best[1] is None or lasted > best[1]:
            best = (float(abs(net[place]) - abs(net[first])) * slope, lasted)
    return best
