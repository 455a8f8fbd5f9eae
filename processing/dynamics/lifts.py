"""How far a key must rise before it sounds again: from partial lifts.

How it works: the plunger goes from the bed up to some height and down again; each such lift is a valley between two
visits to the bed. It worked if a note began after its top and before the next one's. The height is read from the
samples, below key dip, so what the programme had commanded does not matter. Between the highest lift that failed and
the lowest that worked the truth may lie anywhere; a lift of nothing fails by definition.
Source: a quantity only known to lie between two bounds is rectangular, GUM (JCGM 100:2008) 4.3.7.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from processing.dynamics.recorded import PARTIAL_LIFTS, Recorded
from processing.stages import Branch

DEEP_SHARE = 0.5
"""The bed is visited where the plunger is within this share of a millimetre of its deepest place."""


@dataclass(frozen=True, slots=True)
class Lift:
    """One lift: how high, in mm above key dip, and whether the press after it sounded."""

    height_mm: float
    sounded: bool


@dataclass(frozen=True, slots=True)
class Bracket:
    """Between which lifts the key is ready again, mm above key dip."""

    fails_mm: float
    works_mm: float
    crossed: bool
    """A lift failed that was higher than one that worked: the key is not of one mind."""

    @property
    def middle_mm(self) -> float:
        """Midway between the two."""
        return (self.fails_mm + self.works_mm) / 2.0

    @property
    def half_gap_mm(self) -> float:
        """How far the truth may be from there."""
        return abs(self.works_mm - self.fails_mm) / 2.0


def lifts_of(recorded: Recorded, key_dip_mm: float) -> tuple[Lift, ...]:
    """Return the lifts in the order of time. key_dip_mm: from touch."""
    stretches = recorded.of(PARTIAL_LIFTS)
    if not stretches:
        return ()
    samples = [stretch.samples for stretch in stretches]
    names = [field.name for field in fields(Branch)]
    whole = Branch(*(np.concatenate([getattr(part, name) for part in samples]) for name in names))
    way = whole.way_mm
    deep = way >= way.max() - DEEP_SHARE
    edges = np.flatnonzero(np.diff(deep.astype(np.int8)))
    visits = [(int(before) + 1, int(after) + 1) for before, after in pairwise(edges) if not deep[before + 1]]
    tops = [first + int(np.argmin(way[first:after])) for first, after in visits]
    ends_s = [float(whole.time_s[top]) for top in tops[1:]] + [float(whole.time_s[-1])]
    return tuple(
        Lift(key_dip_mm - float(way[top]), bool(recorded.notes_between(float(whole.time_s[top]), until_s)))
        for top, until_s in zip(tops, ends_s, strict=True)
        if deep[top:].any()
    )


def bracket_of(lifts: tuple[Lift, ...]) -> Bracket | None:
    """Return the bracket, None if no lift worked."""
    works = [lift.height_mm for lift in lifts if lift.sounded]
    if not works:
        return None
    fails_mm = max((lift.height_mm for lift in lifts if not lift.sounded), default=0.0)
    return Bracket(fails_mm, min(works), crossed=fails_mm > min(works))
