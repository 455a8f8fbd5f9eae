"""A limits file as people write it, in TOML: its tables and entries. `reading.py` makes `types.Limits` of it.

name = "moss, last inspection"
rule = "guarded acceptance"             # of all limits that say no other
risk = 0.05

[expected]                              # what must be there, and how it must have been measured
[[limit]]                               # lower, upper, of one measurand: one number, or a line from A0 to C8
[[step]]                                # a key against its neighbours
[[spread]]                              # evenness about the trend
[letoff]                                # a notch that must be there
[findings]                              # what a check may not find
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from processing.limits.conformity import Rule
from processing.toml_file import Closed

Risk = Annotated[float, Field(gt=0.0, lt=0.5)]
Positive = Annotated[float, Field(gt=0.0)]
Strokes = Annotated[int, Field(ge=1, le=100)]
Codes = tuple[str, ...]


class LineEntry(Closed):
    """A limit that runs straight in the key number, by its values at both ends of the keyboard."""

    A0: float
    C8: float


def _level(told: Any) -> Any:
    """Take one number for a line that is level; anything else is left to be judged as it is."""
    return {"A0": told, "C8": told} if isinstance(told, float | int) else told


Line = Annotated[LineEntry, BeforeValidator(_level)]


class Ruled(Closed):
    """How a decision is made; what is left out is as the file says for all."""

    rule: Rule | None = None
    risk: Risk | None = None


class OfMeasurand(Ruled):
    """What is asked, and of which keys."""

    measurand: str
    unit: str
    colour: Literal["natural", "sharp"] | None = None


class LimitEntry(OfMeasurand):
    """Limits of one measurand."""

    lower: Line | None = None
    upper: Line | None = None
    keys: str = "all"


class StepEntry(OfMeasurand):
    """How far a key may be from the mean of the next keys of its colour on either side."""

    within: Positive
    keys: str = "all"


class SpreadEntry(OfMeasurand):
    """How far the keys of a colour may scatter about their own trend: a standard deviation."""

    upper: Positive


class LetoffEntry(Closed):
    """A let-off that must be there."""

    required: Literal["found", "shoulder"] = "found"
    """`shoulder`: a rise without a fall is enough."""
    keys: str = "all"


class FindingsEntry(Closed):
    """What keeps a key from passing beside its numbers."""

    fail: Codes | None = None
    """Codes of findings of which each fails its key; None: all that say that the key is odd."""
    cannot_tell: Codes | None = None
    """Codes of findings with which a key is neither passed nor failed; None: see `findings.py`."""
    stands_out: Codes = ()
    """Measurands, or `letoff`, in which a key may not stand out from its neighbours."""


class ExpectedEntry(Closed):
    """What must be there, and how it must have been measured: else nothing is passed."""

    instrument: str | None = None
    """The model that these limits are for, as the recording names it; None: any."""
    keys: str = "all"
    stated_at: Literal["plunger", "front edge"] = "plunger"
    bed_force_newton: Positive = 3.0
    touch_force_newton: Positive = 0.05
    strokes: Strokes = 2
    """On which the numbers of a key rest, at least."""
    allowed_flags: Codes = ()
    """Flags with which a number is judged all the same; without them it is neither passed nor failed."""


class LimitsFile(Ruled):
    """The file."""

    name: str
    rule: Rule = "guarded acceptance"
    risk: Risk = 0.05
    expected: ExpectedEntry = ExpectedEntry()
    limit: tuple[LimitEntry, ...] = ()
    step: tuple[StepEntry, ...] = ()
    spread: tuple[SpreadEntry, ...] = ()
    letoff: LetoffEntry | None = None
    findings: FindingsEntry = FindingsEntry()
