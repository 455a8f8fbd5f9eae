"""What one keyboard has and the other has not: a notch, a damper, a note.

How it works: on each key on which both recordings could tell, either has it or not. Keys where only one has it speak
for that one; if neither were ahead, each would be a toss of a coin. Neighbours resemble each other, so keys that speak
for one keyboard within four neighbours are one toss. Single keys without a notch are odd keys, no difference. What a
recording cannot tell (no note events at all, keys that were not let up) is not compared, and is said.
Sources: McNemar, Psychometrika 12:153, 1947, in the exact form by the binomial distribution (scipy.stats.binomtest);
one toss for several neighbours is our own, tried by simulation (DEVELOPERS.md, decision 103).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scipy.stats import binomtest

from processing.features.read_off import NOT_HEARD
from processing.stages import KeyResult

Keys = dict[int, KeyResult]
"""Measured keys by number."""
ONE_TOSS = 4
"""Keys next to each other, those of both colours, that are taken for one toss of a coin."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something that a key has or has not: how it is told and what it is called."""

    name: str
    words: str
    has: Callable[[KeyResult], bool]
    could_tell: Callable[[KeyResult], bool]
    """Whether the recording of the key could have shown it."""
    missing: str
    """Why a recording cannot tell of any key."""
    told_once_for_all: bool = False
    """One key that could tell shows that the recording could tell of all: a silent key makes no events of its own."""


def _was_looked_for(key: KeyResult) -> bool:
    return key.letoff_limit_newton is not None or key.letoff != "none"


def _was_let_up(key: KeyResult) -> bool:
    return _was_looked_for(key) and key.curve is not None and key.curve.up_newton is not None


def _was_listened_to(key: KeyResult) -> bool:
    return _was_looked_for(key) and key["trigger_position"].reason != NOT_HEARD


PARTS_OF_A_KEY = (
    Part(
        "letoff",
        "let-off",
        lambda key: key.letoff == "found",
        _was_looked_for,
        "none of its keys has a way to measure on",
    ),
    Part("damper", "damper step", lambda key: key["damper_step"].value is not None, _was_let_up, "no key was let up"),
    Part(
        "note",
        "note",
        lambda key: key["trigger_position"].value is not None,
        _was_listened_to,
        NOT_HEARD,
        told_once_for_all=True,
    ),
)


@dataclass(frozen=True, slots=True)
class Presence:
    """On how many keys each of two keyboards has a part."""

    name: str
    words: str
    keys: int
    first: int
    second: int
    only_first: tuple[int, ...]
    only_second: tuple[int, ...]
    """Key numbers."""

    @property
    def p(self) -> float:
        """Two-sided probability of so uneven a count by chance."""
        for_first, for_second = tosses(self.only_first, self.only_second)
        apart = for_first + for_second
        return 1.0 if apart == 0 else float(binomtest(for_first, apart, 0.5).pvalue)


def tosses(only_first: Sequence[int], only_second: Sequence[int]) -> tuple[int, int]:
    """Return how many tosses of a coin speak for each keyboard, given the numbers of keys that do.

    A toss ends with a key that speaks for the other keyboard, and ONE_TOSS keys behind its first.
    >>> tosses([1, 2, 3, 7], []), tosses([1, 2, 4], [3])
    ((2, 0), (2, 1))
    """
    counts, side, begin = [0, 0], -1, -ONE_TOSS
    for number, told in sorted([(number, 0) for number in only_first] + [(number, 1) for number in only_second]):
        if told != side or number - begin >= ONE_TOSS:
            counts[told] += 1
            side, begin = told, number
    return counts[0], counts[1]


def presences(first: Keys, second: Keys) -> tuple[Presence, ...]:
    """Return the parts of the keys of which both can tell, by key number; not those of which one can tell nothing."""
    both = {part: sorted(_told(part, first) & _told(part, second)) for part in PARTS_OF_A_KEY}
    return tuple(_presence(part, numbers, first, second) for part, numbers in both.items() if numbers)


def not_told(first: Keys, second: Keys) -> list[tuple[Part, int]]:
    """Return the parts of which one recording can tell and the other cannot, and which that is: 0 or 1."""
    told = [(part, [bool(_told(part, keys)) for keys in (first, second)]) for part in PARTS_OF_A_KEY]
    return [(part, could.index(False)) for part, could in told if sum(could) == 1]


def _told(part: Part, keys: Keys) -> set[int]:
    told = {number for number, key in keys.items() if part.could_tell(key)}
    return set(keys) if told and part.told_once_for_all else told


def _presence(part: Part, both: list[int], first: Keys, second: Keys) -> Presence:
    in_first = {number for number in both if part.has(first[number])}
    in_second = {number for number in both if part.has(second[number])}
    return Presence(
        part.name,
        part.words,
        len(both),
        len(in_first),
        len(in_second),
        tuple(sorted(in_first - in_second)),
        tuple(sorted(in_second - in_first)),
    )
