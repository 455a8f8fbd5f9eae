"""What reference units propose: limits of each measurand and colour, what these rest on, and what they promise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from processing.keyboard import COMPARED
from processing.limits.tolerance import ByOrder, by_order, values_for_order
from processing.limits.two_levels import TwoLevels
from recordings.keys import Key

Ends = tuple[float, float]
"""A line by its values at A0 and at C8."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnSettings:
    """What is promised of proposed limits."""

    coverage: float = 0.999
    """Of all keys: 88 are judged at once, and one key in a thousand outside is one unit in twelve."""
    confidence: float = 0.95
    """That at least `coverage` is held; the usual choice of tolerance intervals."""
    units_coverage: float = 0.90
    """Of units, for what is said without assuming a distribution; 0.95 would take twice as many."""
    excess: float = 0.10
    """How much further out than endless units would have them limits may lie for the units to be enough."""
    measurands: tuple[str, ...] = tuple(compared.name for compared in COMPARED)
    """Those in which keys are compared elsewhere: further ones follow from them and would only add false alarms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Limits of one measurand and colour, in `unit`."""

    measurand: str
    unit: str
    colour: str
    lower: Ends | None
    """None: it would lie at or below zero, where no value is."""
    upper: Ends
    told: TwoLevels
    half_width: float
    """How far the limits lie from the mean line."""
    units_wanted: int | None
    """How many units bring the half-width within `excess` of the least possible; None of a single unit, or beyond
    counting."""
    off_unit: str | None
    """The unit that lies off the others as a whole; it counts all the same, for only a person knows whether it is good.
    """
    curved: bool
    """The keys lie along a curve and not along a line: the limits are wider for it."""
    own_u: float
    """Standard uncertainty of a key for itself, typical: in the limits."""
    shared_u: float
    """What all keys of a recording share: not in the limits."""
    stood_out: tuple[tuple[str, Key], ...]
    """Unit and key of values that were left out since they stand out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What reference units propose."""

    units: tuple[str, ...]
    models: tuple[str, ...]
    """Different ones, as the recordings call them."""
    without_serial: tuple[str, ...]
    """Units of which nobody can say that they are not the same one twice."""
    uncalibrated: tuple[str, ...]
    settings: LearnSettings
    proposals: tuple[Proposal, ...]
    odd_keys: tuple[tuple[str, Key], ...]
    """Unit and key of what the checks call odd: no examples."""
    letoff: Literal["found", "shoulder"] | None
    """What every key has."""
    keys: tuple[Key, ...]
    """That every unit has."""
    most_good: dict[str, int]
    """Good keys of each colour, in the unit that has the most of them."""
    strokes: int
    """On which every key rests at least."""
    bed_newton: float
    touch_newton: float
    stated_at: Literal["plunger", "front edge"]

    @property
    def by_extremes(self) -> ByOrder:
        """What the lowest and highest values seen promise of further units, whatever the distribution."""
        return by_order(len(self.units), self.settings.units_coverage, self.settings.confidence)

    @property
    def units_for_extremes(self) -> int:
        """How many units it takes for the extremes to hold `units_coverage`."""
        return values_for_order(self.settings.units_coverage, self.settings.confidence)
