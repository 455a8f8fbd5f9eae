"""Which lines of a budget another key of the same recording draws anew, and which err alike on all: one row a line.

How it works: what a key draws anew is its own: it is in the scatter of the keys already, averages out over many, and is
taken out of their unevenness. What errs alike is shared: no number of keys makes it smaller, and neighbours do not
differ by it. A step of a ladder is both: keys that differ by more than a step lie anywhere in it, each for itself, but
keys that are all alike lie at the same place in it and err alike. Which of the two a keyboard is, nobody has told; so
such a line is a key's own where keys are held against each other, and shared where they are taken together.
A test holds the rows against every place where lines are made.
Source: GUM (JCGM 100:2008) F.1.1.2 and F.1.2.3 (what varies between repeats, and common influences), from memory. Own
reckoning: what lies evenly between a bound and one a way w above it is off the lower by w^2 / 3 in mean square, of
which w^2 / 4 is the shift by half of it and w^2 / 12, a quarter of the whole, the place in it.
"""

from __future__ import annotations

from dataclasses import dataclass

from processing.budget.calibration_lines import (
    BACKLASH,
    COMPLIANCE,
    DISPLACEMENT_BY_TEMPERATURE,
    DISPLACEMENT_POWERS,
    FORCE_BY_LEVER,
    FORCE_BY_TEMPERATURE,
    FORCE_POWERS,
    HYSTERESIS,
    SKEW,
    TEMPERATURE,
    TRAVEL_BY_LEVER,
)
from processing.budget.sources import (
    DRIFT,
    DRIFT_APART,
    GROUND,
    INERTIA,
    LATENCY,
    LEAN,
    NOISE,
    SMOOTHING,
    STROKES,
    TIMED_WAY,
    TOUCH,
    ZERO,
)
from processing.dynamics import sources
from processing.statistics.drift import BEND, DIFFER, SITTING, WHOLE


@dataclass(frozen=True, slots=True)
class AmongKeys:
    """One line over the keys of a recording."""

    name: str
    own: float
    """Share of its variance that every key draws anew."""
    shared: bool
    """Whether keys may err alike by all of it."""
    why: str

    @property
    def whose(self) -> str:
        """Return in a word whose the line is."""
        if not self.shared:
            return "each key's"
        return "both" if self.own else "all keys'"


def _own(name: str, why: str) -> AmongKeys:
    return AmongKeys(name, 1.0, shared=False, why=why)


def _shared(name: str, why: str) -> AmongKeys:
    return AmongKeys(name, 0.0, shared=True, why=why)


def _both(name: str, why: str, *, own: float = 1.0) -> AmongKeys:
    return AmongKeys(name, own, shared=True, why=why)


OF_THE_RECORD = "a constant of the calibration: the same on every key"
AMONG_KEYS = (
    _own(NOISE, "other samples"),
    _own(STROKES, "other strokes"),
    _own(ZERO, "the zero is read in the air of every stroke anew"),
    _own(DRIFT, "it wanders between two readings in the air, of each stroke anew"),
    _own(DRIFT_APART, "as the drift of the zero"),
    _own(TOUCH, "another height of rest, so another place between two steps of the gauge and between two samples"),
    _own(TIMED_WAY, "as the place of touch"),
    _shared(LEAN, "noise lifts a largest value on every key"),
    _shared(INERTIA, "with a motor it is the same guess on all keys; of a hand, which tells it key by key, cautious"),
    _shared(GROUND, "friction is missing after every step back, never too much"),
    _shared(SMOOTHING, "the kernel rounds the same corners of every key the same way"),
    _shared(LATENCY, "one keyboard tells all its notes as late"),
    _own(sources.TO_ZERO_SPEED, "a line through this key's strokes, their gauge and their phase in the scan"),
    _both(sources.BRACKET, "a step of a ladder: keys that are alike lie at the same place in it"),
    _both(sources.DIP, "touch and strokes are the key's, scales and smoothing all keys'"),
    _both(sources.RELEASE, "line to zero speed and touch are the key's, scales and smoothing all keys'"),
    _own(sources.SPEEDS_LEFT_OUT, "other strokes: how this key's speeds scatter about one mass"),
    _shared(sources.HALF_SAMPLE, "force and place of the rig are apart by the same time on every key"),
    _shared(sources.RINGING, "it hides a part of every mass, never adds to one"),
    _own(sources.STROKES_DIFFER, "other strokes: how this key's accelerations scatter"),
    _shared(sources.GIVING_WAY, "it adds to every mass, never hides a part"),
    _own(sources.SCATTER, "other strokes"),
    _both(sources.ROUNDING, "a step of a ladder: keys that are alike lie at the same place between two whole numbers"),
    _shared(sources.BEND, "one keyboard has one law, and the ladder the same speeds on every key"),
    _both(
        sources.NEXT_RATE,
        "the limit is the lower end of a step: half a step too low on all keys, and each key's own place in it",
        own=0.25,
    ),
    _own(sources.RHYTHM, "the plunger passes at another moment between two samples"),
    *(_shared(name, OF_THE_RECORD) for name in (*FORCE_POWERS, *DISPLACEMENT_POWERS, COMPLIANCE, SKEW, BACKLASH)),
    _shared(FORCE_BY_TEMPERATURE, OF_THE_RECORD),
    _shared(DISPLACEMENT_BY_TEMPERATURE, OF_THE_RECORD),
    _shared(FORCE_BY_LEVER, "the levers of one keyboard are alike, and the rig stands at one place of them"),
    _shared(TRAVEL_BY_LEVER, "as for the force"),
    _shared(HYSTERESIS, "every stroke loads the cell on its way down and unloads it on its way up"),
    _shared(TEMPERATURE, "one room"),
    _shared(SITTING, "one slope, which acts on each key by its hours from the middle, signed"),
    _shared(BEND, "one bend, which acts on each key by the square of its hours, signed"),
    _shared(WHOLE, "the keyboard's own recording has one zero, one temperature"),
    _shared(DIFFER, "as what the recording is off by"),
)
OWN = frozenset(row.name for row in AMONG_KEYS if not row.shared)
"""Lines by which keys do not err alike."""
OWN_SHARE = {row.name: row.own for row in AMONG_KEYS}
