"""Which gauge block was not the one asked for.

How it works: the scale and offset are the medians over all pairs of readings (Theil-Sen), which a minority of wrong
blocks does not move; a block that shows another length than its own by more than dirt does is named, with the block
whose length it shows. Source: Theil 1950, Sen 1968.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from processing.calibration.settings import ReferenceSettings

BlockCode = Literal["block_in_place_of_another", "wrong_block", "dirt_or_wrong_reading"]


@dataclass(frozen=True, slots=True)
class BlockFault:
    """One block that does not show its own length. press: its place among the presses, from 0."""

    code: BlockCode
    press: int
    names: tuple[str, ...]
    off_mm: float
    words: str
    advice: str


@dataclass(frozen=True, slots=True)
class BlockPress:
    """One press: which block was asked for, its length (0: the bare table) and where the gauge stood, in counts."""

    name: str
    length_mm: float
    counts: float


def find_block_mistakes(
    presses: Sequence[BlockPress], known: dict[str, float], settings: ReferenceSettings | None = None
) -> tuple[BlockFault, ...]:
    """Return the blocks that were not what was asked for. known: lengths of all that could lie there, by name.

    Fewer than three lengths tell nothing: a line goes through any two.
    """
    limits = settings or ReferenceSettings()
    if len({press.length_mm for press in presses}) < 3:
        return ()
    slopes = [
        (one.length_mm - other.length_mm) / (one.counts - other.counts)
        for one, other in combinations(presses, 2)
        if one.length_mm != other.length_mm and one.counts != other.counts
    ]
    if not slopes:
        return ()
    mm_per_count = float(np.median(slopes))
    offset = float(np.median([press.length_mm - mm_per_count * press.counts for press in presses]))
    allowed = max(limits.block_off_mm, limits.block_off_share * max(press.length_mm for press in presses))
    faults = []
    for place, press in enumerate(presses):
        shown = offset + mm_per_count * press.counts
        if abs(shown - press.length_mm) > allowed:
            faults.append(_fault(place, press, shown, known, allowed))
    return tuple(faults)


def _fault(place: int, press: BlockPress, shown: float, known: dict[str, float], allowed: float) -> BlockFault:
    off = shown - press.length_mm
    like = [name for name, length in known.items() if name != press.name and abs(length - shown) <= allowed]
    what = f"press {place + 1} on {press.name} ({press.length_mm:g} mm) shows {shown:.3f} mm"
    if like:
        names = (press.name, *like)
        words = f"{what}: {' or '.join(like)} lay in place of {press.name}"
        return BlockFault(
            "block_in_place_of_another", place, names, off, words, "look at the marks on both, and press again"
        )
    if 0.0 < off < DIRT_MM:
        words = f"{what}: dirt under the block, or it lay askew"
        return BlockFault("dirt_or_wrong_reading", place, (press.name,), off, words, "wipe block and table, and repeat")
    words = f"{what}: no block of the list is that long"
    return BlockFault("wrong_block", place, (press.name,), off, words, "look at what lies there, and press again")


DIRT_MM = 0.5
"""A chip or a grain lifts a block by less."""
