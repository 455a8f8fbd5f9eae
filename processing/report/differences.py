"""How recordings differ, number by number, paired by key: the median difference and the keys it rests on.

How it works: the first recording is what the others are held against. Medians of pairs are not moved by a few odd keys.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from processing.display import Units, with_unit
from processing.report.recorded import Recorded, jointly_marked

SPOKEN = (
    ("down_weight", "{} needs {} {} to sink a key", "more", "less"),
    ("friction", "{} has {} {} friction", "more", "less"),
    ("up_weight", "{} returns with {} {}", "more", "less"),
    ("key_dip", "a key of {} goes {} {}", "deeper", "less deep"),
    ("letoff_peak_position", "the let-off of {} peaks {} {}", "later", "earlier"),
    ("letoff_drop", "the let-off of {} drops by {} {}", "more", "less"),
    ("trigger_position", "notes of {} start {} {}", "later", "earlier"),
    ("release_height", "notes of {} stop {} {} above the dip", "higher", "lower"),
)
"""Measurand, sentence, and the words for more and less."""


def paired(first: Recorded, second: Recorded, name: str) -> list[tuple[float, float]]:
    """Return the values of both recordings for every key that has both."""
    known = {key.key: key[name].value for key in first.result.keys}
    return [
        (before, value)
        for key in second.result.keys
        if (value := key[name].value) is not None and (before := known.get(key.key)) is not None
    ]


def difference_sentences(recordings: Sequence[Recorded], units: Units) -> tuple[str, ...]:
    """Return a sentence a number in which a recording differs from the first."""
    return tuple(
        sentence
        for second in recordings[1:]
        for row in SPOKEN
        if (sentence := _sentence(recordings[0], second, units, *row))
    ) or ("The recordings have no key in common that was measured in both.",)


def _sentence(first: Recorded, second: Recorded, units: Units, name: str, words: str, more: str, less: str) -> str:
    pairs = np.array(paired(first, second, name))
    if not len(pairs):
        return ""
    joint = jointly_marked(units, (first, second))
    unit = second.result.keys[0][name].unit
    median = float(np.median(pairs[:, 1] - pairs[:, 0]))
    said = words.format(second.name, with_unit(abs(median), unit, joint), more if median > 0 else less)
    said = said if said.startswith(second.name) else said[0].upper() + said[1:]
    return f"{said} than {first.name} (median of {len(pairs)} pairs of keys)."
