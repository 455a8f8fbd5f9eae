"""Which sentences of a comparison a first page tells: the weightiest first, whatever the order of measurands.

How it works: a sentence weighs as much as the difference it tells is times what a hand notices (the guide, the greater
of both colours); among sentences of equal weight, and where the guide knows nothing, the surer comes first. That a part
is lacking on many keys goes before all; how evenly keys lie, and who was left out, after.
"""

from __future__ import annotations

from processing.comparison.sentences import Told, told_of
from processing.comparison.types import Comparison, Difference
from processing.display import Units

LACKS, DIFFERS, OTHER = range(3)
PLACES = {"presence": LACKS, "difference": DIFFERS, "evenness": OTHER, "keys": OTHER}


def weightiest_first(comparison: Comparison, units: Units) -> list[str]:
    """Return all sentences of a comparison in the order of their weight."""
    told = [one for pair in comparison.pairs for one in told_of(pair, units)]
    return [one.sentence for one in sorted(told, key=_weight)]


def _weight(told: Told) -> tuple[int, float, float]:
    """Sorts sentences, the smallest first: by place, by what a hand notices, by probability."""
    noticed = max((_times(one) for one in told.differences), default=0.0)
    surest = min((one.p_family for one in told.differences), default=0.0)
    return PLACES[told.about], -noticed, surest


def _times(one: Difference) -> float:
    """Return how many times what a hand notices a difference is; 0 if the guide knows nothing of such."""
    return 0.0 if one.noticed is None else abs(one.mean.estimate.value) / one.noticed.to_difference
