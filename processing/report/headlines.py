"""Which sentences of a comparison a first page tells: the weightiest first, whatever the order of measurands.

How it works: a sentence about a measurand and a region is found again by asking for the sentences of a pair in which
nothing else surely differs. It weighs as much as its difference is times what a hand notices (the guide, the greater
of both colours); among sentences of equal weight, and where the guide knows nothing, the surer comes first. That a part
is lacking on many keys goes before all; how evenly keys lie, and who was left out, after.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Comparison, Difference, PairComparison
from processing.display import Units


@dataclass(frozen=True, slots=True, order=True)
class Weight:
    """Sorts sentences; the smallest first."""

    place: int
    less_than_noticed: float
    """Minus how many times what a hand notices."""
    p: float


PART_LACKS, DIFFERS, OTHER = range(3)


def weightiest_first(comparison: Comparison, units: Units) -> list[str]:
    """Return all sentences of a comparison in the order of their weight."""
    weighed: list[tuple[Weight, str]] = []
    for pair in comparison.pairs:
        weights = _weights(pair, units)
        lacking = sum(one.different for one in pair.presences)
        for number, sentence in enumerate(pair_sentences(pair, units)):
            other = Weight(PART_LACKS if number < lacking else OTHER, 0.0, 0.0)
            weighed.append((weights.get(sentence, other), sentence))
    return [sentence for _, sentence in sorted(weighed, key=lambda one: one[0])]


def _weights(pair: PairComparison, units: Units) -> dict[str, Weight]:
    """Return the weights of sentences about measurands; also of some that are not told."""
    found = {}
    for name, region in dict.fromkeys((one.name, one.region.name) for one in _sure(pair)):
        here = [one for one in _sure(pair) if (one.name, one.region.name) == (name, region)]
        weight = Weight(DIFFERS, -max(map(_times, here)), min(one.p_family for one in here))
        found.update(dict.fromkeys(pair_sentences(_alone(pair, name, region), units), weight))
    return found


def _sure(pair: PairComparison) -> Iterator[Difference]:
    return (one for one in pair.differences if one.verdict == "different")


def _times(one: Difference) -> float:
    """Return how many times what a hand notices a difference is; 0 if the guide knows nothing of such."""
    return 0.0 if one.noticed is None else abs(one.mean.estimate.value) / one.noticed.to_difference


def _alone(pair: PairComparison, name: str, region: str) -> PairComparison:
    """Return a pair in which nothing differs but one measurand in one region."""
    differences = tuple(
        one if (one.name, one.region.name) == (name, region) else replace(one, verdict="open")
        for one in pair.differences
    )
    return replace(pair, differences=differences, evenness=(), presences=(), left_out=())
