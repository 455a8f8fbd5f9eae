"""Bias against reference values, and whether it changes with them (linearity).

How it works: a straight line of bias (reading less reference) on the reference. If the references are known without
uncertainty, every reading weighs the same and the scatter about the line is the only one. If they have standard
uncertainties, the line goes through the means, one a reference, weighted by 1 / (u**2 + s**2 / n), s being the
scatter of readings pooled over the references: a reference's own error is shared by its readings and does not average
out. Tests are Student's t. Sources: NIST/SEMATECH e-Handbook 2.3.6 (calibration lines), 2.4.5.5 and 2.6.1.4 (bias of
an instrument); least squares with weights: any textbook.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.display import count_of
from processing.errors import StudyUnfit
from processing.gauge.settings import BiasSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Against:
    """One reading of a reference."""

    reference: float
    value: float
    reference_u: float = 0.0
    """Standard uncertainty of the reference; 0: it is taken for exact."""


@dataclass(frozen=True, slots=True)
class Estimated:
    """A number with its standard uncertainty, half-width of its interval, and the test against 0."""

    value: float
    u: float
    dof: int
    half_width: float
    t: float
    p: float


@dataclass(frozen=True, slots=True)
class BiasAt:
    """The bias at one reference: the mean of its readings less the reference."""

    reference: float
    readings: int
    bias: Estimated
    fitted: float
    """By the line."""


@dataclass(frozen=True, slots=True)
class BiasStudy:
    """What readings of references have shown."""

    at: tuple[BiasAt, ...]
    """By rising reference."""
    mean: Estimated
    """Bias at the weighted middle of the references: the line's value where it is surest."""
    offset: Estimated
    """The line at reference 0."""
    slope: Estimated
    """Change of bias with the reference: 0.01 is one percent too much."""
    covariance: tuple[tuple[float, float], tuple[float, float]]
    """Of offset and slope."""
    scatter: float
    """Standard deviation of readings of one reference, pooled; about the line where references are exact."""
    settings: BiasSettings

    def line_at(self, reference: float) -> tuple[float, float]:
        """Return the line's bias at a reference, and half of its interval's width there."""
        (a, b), (_, c) = self.covariance
        u = math.sqrt(max(a + 2.0 * b * reference + c * reference**2, 0.0))
        value = self.offset.value + self.slope.value * reference
        return value, estimated(value, u, self.slope.dof, self.settings.coverage).half_width


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """The readings of one reference, as biases."""

    reference: float
    u: float
    bias: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    coefficients: Array
    covariance: Array
    dof: int
    scatter: float
    middle: float
    """Weighted middle of the references: offset there and slope are not correlated."""

    def value_and_variance(self, reference: float) -> tuple[float, float]:
        at = np.array([1.0, reference])
        return float(at @ self.coefficients), max(float(at @ self.covariance @ at), 0.0)


def bias_of(readings: Sequence[Against], settings: BiasSettings | None = None) -> BiasStudy:
    """Return bias and linearity.

    Raises StudyUnfit if there are not two references and three readings, or uncertain references that were read once.
    """
    chosen = settings or BiasSettings()
    groups = _groups(readings)
    if len(groups) < 2 or len(readings) < 3:
        found = f"{count_of(len(readings), 'reading')} of {count_of(len(groups), 'reference')}"
        raise StudyUnfit(found, "a line of bias needs two references and three readings at least")
    line = _through_means(groups) if any(group.u for group in groups) else _through_readings(groups)
    middle, at_middle = line.value_and_variance(line.middle)
    (a, b), (_, c) = line.covariance.tolist()
    return BiasStudy(
        tuple(_at(group, line, chosen.coverage) for group in groups),
        estimated(middle, math.sqrt(at_middle), line.dof, chosen.coverage),
        estimated(float(line.coefficients[0]), math.sqrt(a), line.dof, chosen.coverage),
        estimated(float(line.coefficients[1]), math.sqrt(c), line.dof, chosen.coverage),
        ((a, b), (b, c)),
        line.scatter,
        chosen,
    )


def mean_bias(differences: Sequence[float], coverage: float = 0.95) -> Estimated:
    """Return the mean of differences (of two instruments, two ways of working, reading and reference) and its t test.

    Source: e-Handbook 2.6.1.4. Raises StudyUnfit for fewer than two.
    """
    n = len(differences)
    if n < 2:
        raise StudyUnfit(count_of(n, "difference"), "a mean needs two at least to know its uncertainty")
    return estimated(float(np.mean(differences)), float(np.std(differences, ddof=1)) / math.sqrt(n), n - 1, coverage)


def estimated(value: float, u: float, dof: int, coverage: float) -> Estimated:
    """Return a number with its interval and its test against 0 by Student's t."""
    from scipy.stats import t as student

    ratio = value / u if u else math.copysign(math.inf, value) if value else 0.0
    half_width = float(student.isf((1.0 - coverage) / 2.0, dof)) * u
    return Estimated(value, u, dof, half_width, ratio, 2.0 * float(student.sf(abs(ratio), dof)))


def _groups(readings: Sequence[Against]) -> list[_Group]:
    groups = []
    for reference in sorted({reading.reference for reading in readings}):
        here = [reading for reading in readings if reading.reference == reference]
        u = max(reading.reference_u for reading in here)
        groups.append(_Group(reference, u, np.array([reading.value - reference for reading in here])))
    return groups


def _through_means(groups: Sequence[_Group]) -> _Line:
    scatter, dof = _pooled(groups)
    if not dof:
        raise StudyUnfit(
            "references with uncertainties were read once each",
            "read them twice at least, or leave the uncertainty out",
        )
    variances = np.array([group.u**2 + scatter**2 / len(group.bias) for group in groups])
    if not variances.all():
        raise StudyUnfit("a reference without uncertainty was read without scatter", "give its uncertainty")
    x, y = np.array([group.reference for group in groups]), np.array([group.bias.mean() for group in groups])
    coefficients, covariance, middle = _weighted_line(x, y, 1.0 / variances)
    return _Line(coefficients, covariance, dof, scatter, middle)


def _through_readings(groups: Sequence[_Group]) -> _Line:
    x = np.concatenate([np.full(len(group.bias), group.reference) for group in groups])
    y = np.concatenate([group.bias for group in groups])
    coefficients, covariance, middle = _weighted_line(x, y, np.ones_like(x))
    dof = len(x) - 2
    scatter = math.sqrt(float(((y - coefficients[0] - coefficients[1] * x) ** 2).sum()) / dof)
    return _Line(coefficients, covariance * scatter**2, dof, scatter, middle)


def _weighted_line(x: Array, y: Array, weights: Array) -> tuple[Array, Array, float]:
    """Return offset and slope, their covariance if the weights are 1 over variances, and the weighted middle."""
    middle = float((weights * x).sum() / weights.sum())
    away = x - middle
    s_xx = float((weights * away**2).sum())
    slope = float((weights * away * y).sum()) / s_xx
    height = float((weights * y).sum() / weights.sum())
    of_height, of_slope = 1.0 / float(weights.sum()), 1.0 / s_xx
    covariance = np.array([[of_height + middle**2 * of_slope, -middle * of_slope], [-middle * of_slope, of_slope]])
    return np.array([height - slope * middle, slope]), covariance, middle


def _pooled(groups: Sequence[_Group]) -> tuple[float, int]:
    """Return the standard deviation of readings of one reference, and its degrees of freedom."""
    dof = sum(len(group.bias) - 1 for group in groups)
    squares = sum(float(((group.bias - group.bias.mean()) ** 2).sum()) for group in groups)
    return (math.sqrt(squares / dof), dof) if dof else (0.0, 0)


def _at(group: _Group, line: _Line, coverage: float) -> BiasAt:
    """Return the bias at one reference, its own uncertainty counted in."""
    u = math.hypot(group.u, line.scatter / math.sqrt(len(group.bias)))
    here = estimated(float(group.bias.mean()), u, line.dof, coverage)
    return BiasAt(group.reference, len(group.bias), here, line.value_and_variance(group.reference)[0])
