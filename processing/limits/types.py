"""Limits as they are judged by: in our units, every line of them bound to its keys."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from processing.limits.conformity import Rule
from processing.limits.findings import CANNOT_TELL, FAIL
from processing.settings import Settings
from recordings.keys import ALL_KEYS, KEY_COUNT, Key


@dataclass(frozen=True, slots=True)
class Line:
    """A limit that runs straight in the key number."""

    at_a0: float
    at_c8: float

    def at(self, key: Key) -> float:
        """Return the limit of a key.

        >>> Line(1.0, 88.0).at(Key(40))
        40.0
        """
        return self.at_a0 + (self.at_c8 - self.at_a0) * (key.number - 1) / (KEY_COUNT - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class How:
    """How a decision is made."""

    rule: Rule = "guarded acceptance"
    risk: float = 0.05
    """Of a wrong decision, as the rule means it; simple acceptance does not use it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueLimit:
    """Limits of one measurand on some keys, in its own unit; None: no limit on that side."""

    measurand: str
    unit: str
    lower: Line | None
    upper: Line | None
    keys: frozenset[Key]
    how: How = How()

    def ends(self, key: Key) -> tuple[float | None, float | None]:
        """Return lower and upper limit of a key."""
        return (
            None if self.lower is None else self.lower.at(key),
            None if self.upper is None else self.upper.at(key),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLimit:
    """How far some keys may be from their neighbours of the same colour."""

    measurand: str
    unit: str
    within: float
    keys: frozenset[Key]
    how: How = How()


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadLimit:
    """How far the keys of some colours may scatter about their trend, each colour by itself."""

    measurand: str
    unit: str
    upper: float
    colours: tuple[str, ...] = ("natural", "sharp")
    how: How = How()


@dataclass(frozen=True, slots=True)
class LetoffLimit:
    """A let-off that must be there."""

    required: Literal["found", "shoulder"]
    keys: frozenset[Key]


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What must be there, and how it must have been measured."""

    instrument: str | None = None
    """The model that the limits are for; None: any."""
    keys: tuple[Key, ...] = ALL_KEYS
    stated_at: Literal["plunger", "front edge"] = "plunger"
    bed_newton: float = 3.0
    touch_newton: float = 0.05
    strokes: int = 2
    allowed_flags: frozenset[str] = frozenset()

    def settings(self) -> Settings:
        """Return the settings of an analysis that these limits are meant for."""
        plain = Settings(stated_at=self.stated_at)
        return replace(
            plain,
            feature=replace(plain.feature, bed_newton=self.bed_newton),
            stroke=replace(plain.stroke, touch_newton=self.touch_newton),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """All that a unit is held against."""

    name: str
    file_name: str = ""
    """Empty: the limits were never in a file."""
    sha256: str = ""
    expected: Expected = field(default_factory=Expected)
    values: tuple[ValueLimit, ...] = ()
    steps: tuple[StepLimit, ...] = ()
    spreads: tuple[SpreadLimit, ...] = ()
    letoff: LetoffLimit | None = None
    fail_on: frozenset[str] = frozenset(FAIL)
    """Codes of findings of which each fails its key."""
    cannot_tell_on: frozenset[str] = frozenset(CANNOT_TELL)
    stands_out_in: frozenset[str] = frozenset()
    """Measurands, or `letoff`, in which a key may not stand out from its neighbours."""
