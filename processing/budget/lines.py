"""What a budget is: lines, each one input with its standard uncertainty and how strongly it acts, and correlations.

How it works: `contribution` of a line is sensitivity times standard uncertainty, with the sign of the sensitivity, in
the measurand's unit. Lines are told apart by their names; a correlation names the two lines it is about.
Source: GUM (JCGM 100:2008), clauses 4 and 5; distributions of JCGM 101:2008, table 1.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Literal

Kind = Literal["A", "B"]
Distribution = Literal["normal", "t", "rectangular", "triangular", "arcsine"]
Sensitivity = Callable[[str], float]
"""Given the name of a constant, how much the measurand changes for a unit change of it."""
AS_GOOD_AS_KNOWN_DOF = 1e3
"""Degrees of freedom of a type B part whose limits are believed as stated (GUM G.4.3: its uncertainty known to 2 %)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One input of a measurand. Raises ValueError if a number cannot be one of a budget."""

    name: str
    """In words, for a reader; the only line of this name in its budget."""
    kind: Kind
    """A: evaluated from repeated values; B: by other means (GUM 4.2, 4.3)."""
    distribution: Distribution
    u: float
    """Standard uncertainty of the input, in `unit`. Of a t distribution: its scale, s / sqrt(n)."""
    unit: str
    dof: float
    sensitivity: float = 1.0
    """Change of the measurand for a unit change of the input."""

    def __post_init__(self) -> None:
        if not (isfinite(self.u) and self.u >= 0.0 and isfinite(self.sensitivity) and self.dof > 0.0):
            raise ValueError(f"{self.name}: u {self.u}, sensitivity {self.sensitivity}, dof {self.dof} make no line")

    @property
    def contribution(self) -> float:
        """What the line gives to the measurand's standard uncertainty, signed, in the measurand's unit."""
        return self.sensitivity * self.u


@dataclass(frozen=True, slots=True)
class Correlation:
    """Two lines whose inputs err together: their correlation coefficient."""

    first: str
    second: str
    r: float


@dataclass(frozen=True, slots=True)
class Correction:
    """What was added to a number for a known effect (GUM 3.2.3), in the measurand's unit."""

    name: str
    """That of the line which tells how sure the correction is."""
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """A measurand's value and all that makes it uncertain. Raises ValueError if lines and correlations do not fit."""

    measurand: str
    unit: str
    value: float
    lines: tuple[Line, ...]
    correlations: tuple[Correlation, ...] = ()
    corrections: tuple[Correction, ...] = ()
    """What `value` already holds."""
    factor_share: float = 1.0
    """What the coverage factor is multiplied with where a bound dominates (`rectangular.py`); 1: as the GUM has it."""

    def __post_init__(self) -> None:
        names = [line.name for line in self.lines]
        if len(set(names)) < len(names):
            raise ValueError(f"{self.measurand}: two lines of a budget have one name")
        for pair in self.correlations:
            if not {pair.first, pair.second} <= set(names) or pair.first == pair.second or not -1.0 <= pair.r <= 1.0:
                raise ValueError(f"{self.measurand}: {pair} is no correlation of two lines")

    def correlated_with(self, name: str) -> Mapping[str, float]:
        """Return the lines that a line is correlated with, and how."""
        pairs = [pair for pair in self.correlations if name in (pair.first, pair.second) and pair.r != 0.0]
        return {pair.second if pair.first == name else pair.first: pair.r for pair in pairs}
