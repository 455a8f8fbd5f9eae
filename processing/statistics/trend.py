"""From bass to treble: the line of one measurand over one colour, or a smooth curve where a line does not fit.

How it works: the line is Theil-Sen's, its height the median of the means of all pairs of residuals, so a few odd keys
neither tilt nor lift it. Whether it fits is asked by an F test against local lines (odd keys left out); only if it does
not, the trend is the robust local lines themselves. Both are matrices times the values, so their uncertainty follows
from the scatter of the keys, their correlation with their neighbours, and the parts of the budget that all keys share.
A test that finds no bend has not shown that there is none: the line's uncertainty holds how far the local lines lie
from it, and at least how far they would by chance.
Sources: Theil-Sen by scipy.stats.theilslopes, its efficiency for normal values 0.955: Sen, JASA 63:1379, 1968; height:
Hodges & Lehmann, Ann. Math. Stat. 34:598, 1963, the same efficiency; F test: Cleveland & Devlin, JASA 83:596, 1988.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.stats import f as f_distribution
from scipy.stats import theilslopes

from processing.budget.propagation import MOST_DOF, combine
from processing.keyboard import typical_values
from processing.stages import FloatArray, read_only
from processing.statistics.correlated import Estimate, Resemblance, correlation_matrix
from processing.statistics.outliers import MEDIAN_THINS, generalised_esd
from processing.statistics.scatter import Scatter, scatter_of
from processing.statistics.series import Series
from processing.statistics.settings import StatisticsSettings
from processing.statistics.smooth import local_lines, robust_lines
from recordings.keys import KEY_COUNT

Shape = Literal["line", "smooth"]
THEIL_SEN_EFFICIENCY = 0.955


@dataclass(frozen=True, slots=True, eq=False)
class KeyboardTrend:
    """The trend of one measurand over one colour. Arrays (n,), a value a key measured, in `unit`."""

    name: str
    unit: str
    colour: str
    shape: Shape
    p_of_line: float
    """Probability of so bad a fit if the line were right."""
    numbers: tuple[int, ...]
    fitted: FloatArray
    half_width: FloatArray
    """Of the 95 % interval of the trend at each key, shared parts of the budget included."""
    per_octave: Estimate
    """Of the line, whatever the shape."""
    at_a0: Estimate | None
    """None: no key was measured near enough."""
    at_c8: Estimate | None
    scatter: Scatter
    """About the trend, as the keys lie: what wanders more slowly than the trend can follow is in it."""

    def __post_init__(self) -> None:
        read_only(self.fitted, self.half_width)


def without_outliers(series: Series, settings: StatisticsSettings) -> Series:
    """Return a series without the values that stand out from their running median."""
    found = generalised_esd(
        series.values - typical_values(series.at(series.numbers), series.values, settings.narrowest_window),
        most=most_outliers(len(series.values), settings),
        alpha=settings.clean_alpha,
        thinned=MEDIAN_THINS,
    )
    odd = {series.numbers[index] for index in found.indices}
    return series.only(frozenset(series.numbers) - odd)


def most_outliers(count: int, settings: StatisticsSettings) -> int:
    """Return how many of some keys may stand out."""
    return max(1, int(settings.stand_out_share * count))


def trend_of(series: Series, resemblance: Resemblance, settings: StatisticsSettings) -> KeyboardTrend:
    """Return the trend of a series of at least `fewest_keys` values."""
    kept = without_outliers(series, settings)
    p_of_line = lack_of_fit(kept, settings)
    shape: Shape = "smooth" if p_of_line < settings.curved_alpha else "line"
    told = _told(np.array([*series.numbers, 1.0, float(KEY_COUNT)]), kept, shape, resemblance, settings)
    return KeyboardTrend(
        name=series.name,
        unit=series.unit,
        colour=series.colour,
        shape=shape,
        p_of_line=p_of_line,
        numbers=series.numbers,
        fitted=np.array([one.value for one in told[:-2]]),
        half_width=np.array([one.expanded(settings.coverage) for one in told[:-2]]),
        per_octave=_per_octave(kept, shape, resemblance, settings),
        at_a0=told[-2] if series.numbers[0] <= 1 + settings.reach_keys else None,
        at_c8=told[-1] if series.numbers[-1] >= KEY_COUNT - settings.reach_keys else None,
        scatter=scatter_about(kept, shape, resemblance.fading, settings),
    )


def _told(
    wanted: FloatArray, kept: Series, shape: Shape, resemblance: Resemblance, settings: StatisticsSettings
) -> list[Estimate]:
    """Return the trend at wanted key numbers (m,)."""
    rows, values = (_rows_of_line if shape == "line" else _rows_of_local_lines)(wanted, kept, settings)
    us, dofs = _own_part(rows, kept, shape, resemblance, settings)
    may_bend = np.zeros(len(wanted)), np.full(len(wanted), MOST_DOF)
    if shape == "line":
        slope, intercept = _line(kept)
        values, us = intercept + slope * wanted, us / np.sqrt(THEIL_SEN_EFFICIENCY)
        if len(kept.numbers) >= _fewest_for_a_curve(kept, settings):
            local_rows, local = _rows_of_local_lines(wanted, kept, settings)
            by_chance, bend_dofs = _own_part(local_rows - rows, kept, shape, resemblance, settings)
            may_bend = np.maximum(by_chance, np.abs(local - values)), bend_dofs
    parts = (part.tolist() for part in (values, us, dofs, *may_bend, *kept.shared.combined(rows)))
    return [
        Estimate(value, u, dof).with_common(bend_u, bend_dof).with_common(shared_u, shared_dof)
        for value, u, dof, bend_u, bend_dof, shared_u, shared_dof in zip(*parts, strict=True)
    ]


def _own_part(
    rows: FloatArray, kept: Series, shape: Shape, resemblance: Resemblance, settings: StatisticsSettings
) -> tuple[FloatArray, FloatArray]:
    """Return what the keys' scatter gives to sums with weights (m, n): standard uncertainties and degrees of freedom.

    How neighbours resemble each other is known only so well: the variance is the mean over the fadings that may be, and
    how it differs between them costs degrees of freedom, beside the scatter's own (Satterthwaite).
    """
    mean, square = np.zeros(len(rows)), np.zeros(len(rows))
    left = _left_of(kept, shape, settings)
    for one, weight in resemblance.plausible():
        correlation = correlation_matrix(kept.places, one)
        scatter = scatter_of(*left, correlation, whole=True)
        variances = scatter.variance * np.einsum("mi,ij,mj->m", rows, correlation, rows)
        mean += weight * variances
        square += weight * variances**2 * (1.0 + 2.0 / scatter.dof)
    dofs = np.divide(2.0 * mean**2, square - mean**2, out=np.full(len(rows), MOST_DOF), where=mean > 0.0)
    return np.sqrt(mean), dofs


def _line(series: Series) -> tuple[float, float]:
    numbers = series.at(series.numbers)
    slope = float(theilslopes(series.values, numbers)[0])
    left = series.values - slope * numbers
    return slope, float(np.median((left[:, None] + left)[np.triu_indices(len(left))] / 2.0))


def _design(numbers: FloatArray, centre: float) -> FloatArray:
    return np.vander(numbers - centre, 2, increasing=True)


def _rows_of_line(wanted: FloatArray, kept: Series, _: StatisticsSettings) -> tuple[FloatArray, FloatArray]:
    """Return the least squares line as rows (m, n) and its values (m,): its rows tell how sure Theil-Sen's is."""
    numbers = kept.at(kept.numbers)
    rows = _design(wanted, float(numbers.mean())) @ np.linalg.pinv(_design(numbers, float(numbers.mean())))
    return rows, rows @ kept.values


def _rows_of_local_lines(
    wanted: FloatArray, kept: Series, settings: StatisticsSettings
) -> tuple[FloatArray, FloatArray]:
    numbers, window = kept.at(kept.numbers), _window(kept, settings)
    _, trust = robust_lines(numbers, kept.values, window)
    rows = local_lines(wanted, numbers, window, trust)
    return rows, rows @ kept.values


def _window(series: Series, settings: StatisticsSettings) -> int:
    return max(settings.narrowest_window, round(settings.smooth_share * len(series.numbers)))


def _fewest_for_a_curve(series: Series, settings: StatisticsSettings) -> int:
    """Return how many keys a curve needs to be told from a line."""
    return _window(series, settings) + 3


def lack_of_fit(series: Series, settings: StatisticsSettings) -> float:
    """Return the probability of a misfit so bad if the values scattered independently about a line; 1 if too few.

    Keys that resemble their neighbours look like a curve; then the smooth trend is taken more often than it need be.
    """
    count, window = len(series.numbers), _window(series, settings)
    if count < _fewest_for_a_curve(series, settings):
        return 1.0
    numbers, unity = series.at(series.numbers), np.eye(count)
    straight = unity - _rows_of_line(numbers, series, settings)[0]
    smooth = unity - local_lines(numbers, numbers, window)
    by_line, by_smooth = straight.T @ straight, smooth.T @ smooth
    between = by_line - by_smooth
    gained, left = (float(series.values @ form @ series.values) for form in (between, by_smooth))
    trace, trace_left = float(np.trace(between)), float(np.trace(by_smooth))
    if left <= 0.0 or trace <= 0.0:
        return 1.0
    ratio = gained / trace / (left / trace_left)
    dofs = (trace**2 / np.trace(between @ between), trace_left**2 / np.trace(by_smooth @ by_smooth))
    return float(f_distribution.sf(ratio, *dofs))


def scatter_about(kept: Series, shape: Shape, fading: float, settings: StatisticsSettings) -> Scatter:
    """Return the scatter of a series without outliers about a trend of the given shape."""
    return scatter_of(*_left_of(kept, shape, settings), correlation_matrix(kept.places, fading), whole=False)


def _left_of(kept: Series, shape: Shape, settings: StatisticsSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what a trend leaves, as a matrix times the values (k, n), as values (k,), and the keys' own u (k,).

    What stands out of the residuals, as beside a step, is no part of it.
    """
    numbers = kept.at(kept.numbers)
    rows = (_rows_of_line if shape == "line" else _rows_of_local_lines)(numbers, kept, settings)[0]
    residual_matrix = np.eye(len(numbers)) - rows
    residuals = residual_matrix @ kept.values
    most = most_outliers(len(numbers), settings)
    out = generalised_esd(residuals, most=most, alpha=settings.clean_alpha).indices
    inside = np.setdiff1d(np.arange(len(numbers)), np.array(out, np.int64))
    return residual_matrix[inside], residuals[inside], kept.own_u[inside]


def _per_octave(kept: Series, shape: Shape, resemblance: Resemblance, settings: StatisticsSettings) -> Estimate:
    numbers = kept.at(kept.numbers)
    row = np.linalg.pinv(_design(numbers, float(numbers.mean())))[1]
    (u,), (dof,) = _own_part(row[None], kept, shape, resemblance, settings)
    u = float(u) / np.sqrt(THEIL_SEN_EFFICIENCY)
    shared = combine(kept.shared.of(row))
    return Estimate(12.0 * _line(kept)[0], 12.0 * u, float(dof)).with_common(12.0 * shared.u, shared.dof)
