"""How numbers are shown to people: their units, and as many decimals as the uncertainty deserves.

Inside and in JSON everything is N, mm, mJ. A gram-force is standard gravity, 9.80665 mN exactly (CGPM 1901).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10

from processing.stages import Finding, Measurement

NEWTON_PER_GF = 0.00980665
MM_PER_INCH = 25.4
FORCE_LIKE = frozenset({"N", "mJ", "kg"})
"""Units that are right only if the force scale is."""
DEFAULT_DECIMALS = {"gf": 1, "N": 3, "mm": 2, "in": 3, "mJ": 2, "ms": 1, "kg": 3, "Hz": 1}


class UnknownUnits(ValueError):
    """The reader asked for units that we do not show."""

    def __init__(self, found: str) -> None:
        self.found = found
        super().__init__(f"cannot show units {found!r}; choose {' or '.join(CHOICES)}")


@dataclass(frozen=True, slots=True)
class Units:
    """The reader's units of force and length."""

    force: str = "gf"
    length: str = "mm"
    force_mark: str = ""
    """What is said beside every force and energy: "uncalibrated"; empty: they are calibrated, or it is told apart."""

    def of(self, unit: str) -> str:
        """Return the unit shown for one of ours: N, mm, N/mm, mm/s; others stay. Forces are marked."""
        marked = self.force_mark and not FORCE_LIKE.isdisjoint(unit.split("/"))
        return f"{self.plain(unit)} {self.force_mark}" if marked else self.plain(unit)

    def plain(self, unit: str) -> str:
        """Return the unit shown, without a mark."""
        return "/".join(self._one(part)[0] for part in unit.split("/"))

    def value(self, value: float, unit: str) -> float:
        """Return a value of ours in the unit shown."""
        top, *bottom = unit.split("/")
        factor = self._one(top)[1]
        for part in bottom:
            factor /= self._one(part)[1]
        return value * factor

    def _one(self, unit: str) -> tuple[str, float]:
        if unit == "N" and self.force == "gf":
            return "gf", 1.0 / NEWTON_PER_GF
        if unit == "mm" and self.length == "in":
            return "in", 1.0 / MM_PER_INCH
        return unit, 1.0


CHOICES = ("gf,mm", "N,mm", "gf,in")


def parse_units(text: str) -> Units:
    """Return the units of a choice like "gf,mm". Raises UnknownUnits.

    >>> parse_units("gf,in").of("N/mm")
    'gf/in'
    """
    if text not in CHOICES:
        raise UnknownUnits(text)
    return Units(*text.split(","))


def number(value: float, unit: str, units: Units, *, expanded: float | None = None) -> str:
    """Return a number in the reader's unit, with decimals as its expanded uncertainty deserves, without the unit.

    expanded: U95 in our unit; None: as many decimals as is usual for the unit.
    """
    shown = units.value(value, unit)
    decimals = DEFAULT_DECIMALS.get(units.plain(unit), 2)
    if expanded:
        decimals = max(0, min(4, 1 - floor(log10(units.value(expanded, unit) * 2.0))))
    elif 0.0 < abs(shown) < 10.0 ** (-decimals):
        decimals += 1
    elif abs(shown) >= 100.0:
        decimals = max(0, decimals - 1)
    return f"{shown:.{decimals}f}"


def rounded(measurement: Measurement, units: Units) -> str:
    """Return a value for a table: usual decimals, fewer if its uncertainty deserves fewer, a dash if there is none."""
    if measurement.value is None:
        return "-"
    usual = number(measurement.value, measurement.unit, units)
    deserved = number(measurement.value, measurement.unit, units, expanded=measurement.expanded)
    return min(usual, deserved, key=len)


def count_of(number: int, what: str) -> str:
    """Return a number of things.

    >>> count_of(1, "day"), count_of(0, "part"), count_of(2, "series")
    ('1 day', '0 parts', '2 series')
    """
    return f"{number} {what}{'' if number == 1 or what == 'series' else 's'}"


def with_unit(value: float, unit: str, units: Units) -> str:
    """Return a number with its unit, as in "52.1 gf".

    >>> with_unit(0.5, "N", Units())
    '51.0 gf'
    """
    shown = units.of(unit)
    return f"{number(value, unit, units)}{'' if shown == '1' else ' ' + shown}"


def with_interval(value: float, half: float, unit: str, units: Units) -> str:
    """Return a number with the half-width of its 95 % interval, as in "52.13 ± 0.08 gf".

    >>> with_interval(0.5, 0.004, "N", Units("N", "mm"))
    '0.500 ± 0.004 N'
    """
    shown = units.of(unit)
    told = " ± ".join(number(one, unit, units, expanded=half) for one in (value, half))
    return f"{told}{'' if shown == '1' else ' ' + shown}"


def measured(measurement: Measurement, units: Units) -> str:
    """Return value and expanded uncertainty, as in "52.13 ± 0.08 gf", or a dash if there is none."""
    if measurement.value is None:
        return "-"
    if measurement.expanded is None:
        return with_unit(measurement.value, measurement.unit, units)
    return with_interval(measurement.value, measurement.expanded, measurement.unit, units)


FLAGS_IN_WORDS = {
    "lower_bound": "at least: the ladder or the rig ended before the key did",
    "stroke_left_out": "a stroke far off the line of the others was left out",
    "lifts_disagree": "a higher lift failed than one that worked",
}
"""Flags that change how a number is to be read."""


def remark_on(measurement: Measurement) -> str:
    """Return why a number is missing, or how it is to be read; empty for most."""
    return measurement.reason or "; ".join(words for flag, words in FLAGS_IN_WORDS.items() if flag in measurement.flags)


def in_words(template: str, numbers: tuple[tuple[float, str], ...], units: Units) -> str:
    """Return a text with its numbers put in, in the reader's units."""
    return template.format(*(with_unit(value, unit, units) for value, unit in numbers))


def finding_in_words(finding: Finding, units: Units) -> str:
    """Return what a check has found, with its advice."""
    return f"{in_words(finding.template, finding.numbers, units)}; {finding.advice}"
