"""Numbers of a comparison as people read them: as many digits as they deserve, and none that says another thing.

How it works: the uncertainty of a difference decides the decimals of it and of both means beside it; a difference that
leaves out 0 gets digits until it looks so. Ratios and spreads have two significant digits, more beside 1, for "1.0" of
an interval that ends at 0.96 would say that the ratio may be 1.
"""

from __future__ import annotations

from dataclasses import replace
from math import floor, log10

from processing.display import Units, number, with_unit
from processing.statistics.correlated import Estimate
from processing.statistics.scatter import WIDEST_RATIO

MOST_DIGITS = 5
"""Decimals are not sought for ever: what is nearer is told as equal."""
NEAR_THE_END = 0.999
"""Ratios are sought by halving, so the widest is met but for a rounding."""


def amount(estimate: Estimate, unit: str, units: Units, *, signed: bool = False) -> str:
    """Return a difference with its 95 % half-width, as in "6.1 ± 0.9 gf"; without its sign unless asked for."""
    return plus_minus(estimate.value if signed else abs(estimate.value), estimate.expanded(), unit, units)


def plus_minus(value: float, half: float, unit: str, units: Units) -> str:
    """Return a number with the half-width of its interval and the unit."""
    fine = _deciding(value, half, unit, units)
    told = f"{number(value, unit, units, expanded=fine)} ± {number(half, unit, units, expanded=fine)}"
    return _beside_unit(told, unit, units)


def mean_beside(value: float, difference: Estimate, unit: str, units: Units) -> str:
    """Return a mean with the decimals of the difference that it is told beside."""
    fine = _deciding(difference.value, difference.expanded(), unit, units)
    return _beside_unit(number(value, unit, units, expanded=fine), unit, units)


def _beside_unit(told: str, unit: str, units: Units) -> str:
    shown = units.of(unit)
    return told if shown == "1" else f"{told} {shown}"


def _deciding(value: float, half: float, unit: str, units: Units) -> float:
    """Return the half-width that decides the decimals: less than it is where value and half-width would look alike."""
    fine = half
    while fine > half * 1e-3 and _look_alike(abs(value), half, unit, units, fine):
        fine /= 10.0
    return fine


def _look_alike(value: float, half: float, unit: str, units: Units, fine: float) -> bool:
    one, other = (number(told, unit, units, expanded=fine) for told in (value, half))
    return value != half and one == other


def margin_in_words(margin: float, unit: str, units: Units) -> str:
    """Return a margin with its unit: somebody has said it, so it is not uncalibrated as what is held against it is."""
    return with_unit(margin, unit, replace(units, force_mark=""))


def two_digits(value: float) -> str:
    """Return a number above 0 with two significant digits, and more where it would be rounded to 1 or across it.

    >>> two_digits(0.0367), two_digits(12.4), two_digits(0.997), two_digits(1.04)
    ('0.037', '12', '0.997', '1.04')
    """
    if value <= 0.0:
        return "0"
    least = max(0, 1 - floor(log10(value)))
    for decimals in range(least, MOST_DIGITS):
        told = f"{value:.{decimals}f}"
        if (float(told) - 1.0) * (value - 1.0) > 0.0 or value == 1.0:
            return told
    return f"{value:.{max(least, MOST_DIGITS)}f}"


def spread_in_words(value: float, unit: str, units: Units) -> str:
    """Return a standard deviation with its unit."""
    return _beside_unit(two_digits(units.value(value, unit)), unit, units)


def interval_of_ratio(low: float, high: float) -> str:
    """Return the ends of a ratio's interval; one that lies beyond what is sought is no number.

    >>> interval_of_ratio(1.5, 3.06), interval_of_ratio(6.3, 1000.0), interval_of_ratio(0.001, 0.44)
    ('1.5 to 3.1', '6.3 or more', '0.44 or less')
    """
    if high >= WIDEST_RATIO * NEAR_THE_END:
        return f"{two_digits(low)} or more"
    if low <= 1.0 / (WIDEST_RATIO * NEAR_THE_END):
        return f"{two_digits(high)} or less"
    return f"{two_digits(low)} to {two_digits(high)}"
