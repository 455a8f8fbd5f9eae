"""Holds a comparison of the two demo keyboards against what was planted in them, and against what the rigs know.

How it works: PLANTED is what `rig/virtual/scenarios/*.toml` make different on purpose; each must be called surely
different, in its direction. The other way round, everything called surely different must be there in truth: the true
mean difference over the very keys that were compared has the same sign. Of evenness the truth is the spread of a key
about the middle of its two neighbours, which no trend moves.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from processing.comparison.regions import WHOLE, Region
from processing.comparison.types import Difference, Evenness, PairComparison, PresenceDiffers
from recordings.keys import KEY_COUNT, Key

Truths = Mapping[int, Mapping[str, float | None]]
"""Of each key's number: every measurand as the model of the rig has it; None: the key has no such thing."""


@dataclass(frozen=True, slots=True)
class Planted:
    """A difference that is there on purpose; sign: of moss less fern."""

    name: str
    colour: str
    region: str
    sign: int

    def __str__(self) -> str:
        """Return it in words."""
        return f"{'more' if self.sign > 0 else 'less'} {self.name} of {self.colour}s, {self.region}"


PLANTED = (
    Planted("friction", "natural", "middle", +1),
    Planted("friction", "sharp", "middle", +1),
    Planted("balance_weight", "natural", "whole", +1),
    Planted("letoff_slope", "natural", "whole", +1),
    Planted("letoff_slope", "sharp", "whole", +1),
    Planted("letoff_drop", "natural", "whole", +1),
    Planted("letoff_peak_position", "natural", "treble", -1),
    Planted("letoff_peak_position", "sharp", "treble", -1),
    Planted("release_position", "natural", "treble", +1),
    Planted("release_position", "sharp", "treble", +1),
    Planted("trigger_position", "natural", "whole", -1),
    Planted("trigger_margin", "natural", "bass", -1),
)
PLANTED_PARTS = ("damper",)
"""Parts that one of the two has and the other lacks."""
TOLD_BY = {"letoff": "letoff_peak_position", "damper": "damper_step", "note": "trigger_position"}
"""The measurand that a key has if it has the part."""


@dataclass(frozen=True, slots=True)
class DifferenceCheck:
    """How a comparison fared."""

    planted: tuple[str, ...]
    """What was asked for; empty if only a part of the keyboards was compared."""
    missed: tuple[str, ...]
    sure: int
    """Everything that was called surely different."""
    invented: tuple[str, ...]
    """Of these, what is not so in truth."""
    inside: int
    """Of the mean differences called sure, how many true ones lie inside the stated 95 % interval."""
    means: int


def read_truths(path: Path) -> Truths:
    """Return the truths that a virtual rig wrote."""
    keys = json.loads(path.read_text(encoding="utf-8"))["keys"]
    return {entry["number"]: entry["features"] for entry in keys}


def check_differences(pair: PairComparison, first: Truths, second: Truths) -> DifferenceCheck:
    """Return how a comparison of fern (first) with moss fared against the truth."""
    whole = len(pair.keys) == KEY_COUNT
    sure = [one for one in pair.differences if one.verdict == "different"]
    true = [_true_difference(one, pair, first, second) for one in sure]
    gaps = [abs(one.mean.estimate.value - truth) for one, truth in zip(sure, true, strict=True)]
    parts = [one for one in pair.presences if one.different]
    uneven = [one for one in pair.evenness if one.different]
    invented = [
        *(_named(one) for one, truth in zip(sure, true, strict=True) if truth * one.mean.estimate.value <= 0.0),
        *(one.presence.name for one in parts if not _part_is_true(one, pair, first, second)),
        *(f"evenness of {one.name}, {one.colour}s" for one in uneven if not _is_truly_uneven(one, pair, first, second)),
    ]
    return DifferenceCheck(
        planted=(*map(str, PLANTED), *PLANTED_PARTS) if whole else (),
        missed=tuple(_missed(pair)) if whole else (),
        sure=len(sure) + len(parts) + len(uneven),
        invented=tuple(invented),
        inside=sum(gap <= one.mean.estimate.expanded() for one, gap in zip(sure, gaps, strict=True)),
        means=len(sure),
    )


def _named(one: Difference) -> str:
    return f"{one.name} of {one.colour}s, {one.region.name}"


def _missed(pair: PairComparison) -> Iterable[str]:
    for planted in PLANTED:
        found = pair.difference(planted.name, planted.colour, planted.region)
        if found is None or found.verdict != "different" or found.mean.estimate.value * planted.sign <= 0.0:
            yield str(planted)
    different = {one.presence.name for one in pair.presences if one.different}
    yield from (part for part in PLANTED_PARTS if part not in different)


def _kept(pair: PairComparison, colour: str, region: Region) -> list[int]:
    """Return the numbers of the keys that take part in means."""
    left_out = {key.number for key in pair.left_out}
    return [n for n in pair.keys if region.holds(n) and n not in left_out and Key(n).colour == colour]


def _values(name: str, numbers: Iterable[int], *truths: Truths) -> list[tuple[float, ...]]:
    """Return the true values of keys that have one in all keyboards."""
    rows = [[told[n].get(name) for told in truths] for n in numbers]
    return [tuple(v for v in row if v is not None) for row in rows if None not in row]


def _true_difference(one: Difference, pair: PairComparison, first: Truths, second: Truths) -> float:
    both = _values(one.name, _kept(pair, one.colour, one.region), first, second)
    return float(np.mean([b - a for a, b in both])) if both else 0.0


def _part_is_true(one: PresenceDiffers, pair: PairComparison, first: Truths, second: Truths) -> bool:
    measurand = TOLD_BY[one.presence.name]
    more = len(_values(measurand, pair.keys, second)) - len(_values(measurand, pair.keys, first))
    return more * (one.presence.second - one.presence.first) > 0


def _is_truly_uneven(one: Evenness, pair: PairComparison, first: Truths, second: Truths) -> bool:
    both = np.array(_values(one.name, _kept(pair, one.colour, WHOLE), first, second))
    off_neighbours = both[1:-1] - (both[:-2] + both[2:]) / 2.0
    spread_first, spread_second = off_neighbours.std(axis=0)
    return bool((spread_second > spread_first) == (one.ratio.ratio > 1.0))
