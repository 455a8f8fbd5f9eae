"""What one keyboard has and the other has not: a notch, a damper, a note.

How it works: on each key that both recordings measured, either has it or not. Keys where only one has it speak for that
one; if neither were ahead, each would be a toss of a coin. Exact, but it takes keys for independent, so it is believed
only if the keys of one side are many more than chance; a single key without a notch is an odd key, no difference.
Source: McNemar, Psychometrika 12:153, 1947, in the exact form by the binomial distribution (scipy.stats.binomtest).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from scipy.stats import binomtest

from processing.stages import KeyResult


@dataclass(frozen=True, slots=True)
class Part:
    """Something that a key has or has not: how it is told and what it is called."""

    name: str
    words: str
    has: Callable[[KeyResult], bool]


PARTS_OF_A_KEY = (
    Part("letoff", "let-off", lambda key: key.letoff == "found"),
    Part("damper", "damper step", lambda key: key["damper_step"].value is not None),
    Part("note", "note", lambda key: key["trigger_position"].value is not None),
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
        apart = len(self.only_first) + len(self.only_second)
        return 1.0 if apart == 0 else float(binomtest(len(self.only_first), apart, 0.5).pvalue)


def presences(first: dict[int, KeyResult], second: dict[int, KeyResult]) -> tuple[Presence, ...]:
    """Return the parts of the keys that both have, by key number."""
    both = sorted(set(first) & set(second))
    return tuple(_presence(part, both, first, second) for part in PARTS_OF_A_KEY)


def _presence(part: Part, both: list[int], first: dict[int, KeyResult], second: dict[int, KeyResult]) -> Presence:
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
