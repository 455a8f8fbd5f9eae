"""A comparison in plain sentences, each with its numbers; the weightiest first.

How it works: of a measurand that surely differs, one sentence tells it for the whole keyboard if the regions agree
with that, else one for each region in which it surely differs. Naturals speak; sharps are added in brackets, or speak
alone where only they differ. A difference of the down weight is taken apart into balance and friction.
"""

from __future__ import annotations

from processing.comparison.difference_words import PHRASES, Phrase
from processing.comparison.regions import PARTS, WHOLE
from processing.comparison.types import Comparison, Difference, Evenness, PairComparison, PresenceDiffers
from processing.display import Units, number, with_unit
from processing.statistics.correlated import Estimate
from recordings.keys import Key

MOST_OF_IT = 0.75
"""Share of a difference that makes one part the cause."""
KEYS_NAMED = 6
"""More are counted, not named."""


def amount(estimate: Estimate, unit: str, units: Units, *, signed: bool = False) -> str:
    """Return a difference with its 95 % half-width, as in "6.1 ± 0.9 gf"; without its sign unless asked for."""
    value = estimate.value if signed else abs(estimate.value)
    half, shown = estimate.expanded(), units.of(unit)
    told = f"{number(value, unit, units, expanded=half)} ± {number(half, unit, units, expanded=half)}"
    return told if shown == "1" else f"{told} {shown}"


def sentences_of(comparison: Comparison, units: Units) -> list[str]:
    """Return all that was found, pair after pair."""
    return [sentence for pair in comparison.pairs for sentence in pair_sentences(pair, units)]


def pair_sentences(pair: PairComparison, units: Units) -> list[str]:
    """Return what was found of one pair; if nothing surely differs, that."""
    told = [_presence_sentence(one, pair) for one in pair.presences if one.different]
    for phrase in PHRASES:
        told += _measurand_sentences(pair, phrase, units)
    told += [_evenness_sentence(one, pair, units) for one in pair.evenness if one.different]
    if len(pair.left_out) == len(pair.keys):
        told.append(f"No number could be compared: all {len(pair.keys)} keys that both have stand out in one of them.")
    elif not told:
        told = [f"No sure difference between {pair.first} and {pair.second}."]
    return [*told, *_left_out_sentence(pair)]


def _measurand_sentences(pair: PairComparison, phrase: Phrase, units: Units) -> list[str]:
    told: list[str] = []
    spoken: set[tuple[str, str]] = set()
    for colour, other in (("natural", "sharp"), ("sharp", "natural")):
        for one in _spoken(pair, phrase.name, colour):
            if (one.region.name, colour) not in spoken:
                aside = pair.difference(phrase.name, other, one.region.name)
                told.append(_difference_sentence(pair, phrase, one, aside, units))
                if aside is not None and _alike(one, aside):
                    spoken |= {(one.region.name, other), (WHOLE.name, other)}
    return told


def _alike(one: Difference, aside: Difference) -> bool:
    return aside.verdict == "different" and one.mean.estimate.value * aside.mean.estimate.value > 0.0


def _spoken(pair: PairComparison, name: str, colour: str) -> list[Difference]:
    """Return the differences worth a sentence: the whole keyboard's if the parts agree with it, else the parts'."""
    whole = pair.difference(name, colour, WHOLE.name)
    parts = [part for region in PARTS if (part := pair.difference(name, colour, region.name)) is not None]
    sure = [part for part in parts if part.verdict == "different"]
    if whole is None or whole.verdict != "different":
        return sure
    agree = all(_overlap(part.mean.estimate, whole.mean.estimate) for part in parts)
    return [whole] if agree or not sure else sure


def _overlap(one: Estimate, other: Estimate) -> bool:
    return abs(one.value - other.value) <= one.expanded() + other.expanded()


def _difference_sentence(
    pair: PairComparison, phrase: Phrase, one: Difference, aside: Difference | None, units: Units
) -> str:
    words = phrase.more if one.mean.estimate.value > 0.0 else phrase.less
    told = words.format(
        first=pair.first,
        second=pair.second,
        amount=amount(one.mean.estimate, one.unit, units),
        key=one.colour,
        keys=f"{one.colour}s",
        where=one.region.where,
        at_first=with_unit(one.first, one.unit, units),
        at_second=with_unit(one.second, one.unit, units),
        placed_first=_placed(one.first, one.unit, units),
        placed_second=_placed(one.second, one.unit, units),
    )
    if aside is not None and aside.verdict == "different":
        told += f" ({aside.colour}s: {_beside(one, aside, units)})"
    return f"{told}{_cause(pair, one)}{_guide(one)}."


def _placed(value: float, unit: str, units: Units) -> str:
    return f"{with_unit(abs(value), unit, units)} {'after' if value > 0.0 else 'before'}"


def _beside(one: Difference, aside: Difference, units: Units) -> str:
    signed = one.mean.estimate.value * aside.mean.estimate.value < 0.0
    return amount(aside.mean.estimate, aside.unit, units, signed=signed)


def _cause(pair: PairComparison, one: Difference) -> str:
    """Return which part of the down weight makes the difference: down weight is balance weight plus friction."""
    if one.name not in ("down_weight", "up_weight"):
        return ""
    parts = [pair.difference(name, one.colour, one.region.name) for name in ("balance_weight", "friction")]
    if parts[0] is None or parts[1] is None:
        return ""
    sign = 1.0 if one.name == "down_weight" else -1.0
    balance, friction = (part.mean.estimate.value for part in parts if part is not None)
    whole = balance + sign * friction
    shares = {"balance": balance / whole, "friction": sign * friction / whole} if whole else {}
    for cause, other in (("friction", "balance"), ("balance", "friction")):
        if shares and shares[cause] >= MOST_OF_IT:
            return f"; {cause}, not {other}, makes the difference"
    return "; balance and friction both have a part in it"


def _guide(one: Difference) -> str:
    if one.noticed is None:
        return ""
    words = {
        "may be noticed": "a hand may notice (guide)",
        "at the edge": "at the edge of what a hand notices (guide)",
        "hardly noticed": "a hand hardly notices (guide)",
    }
    return f"; {words[one.noticed.guess]}"


def _presence_sentence(one: PresenceDiffers, pair: PairComparison) -> str:
    told = one.presence
    return (
        f"{_on(told.second, told.keys, pair.second)} a {told.words} was found, "
        f"{_on(told.first, told.keys, pair.first, opening=False)}."
    )


def _on(count: int, keys: int, label: str, *, opening: bool = True) -> str:
    return f"{'On' if opening else 'on'} {count if count else 'none'} of {keys} keys of {label}"


def _evenness_sentence(one: Evenness, pair: PairComparison, units: Units) -> str:
    what = next((phrase.caption for phrase in PHRASES if phrase.name == one.name), one.name.replace("_", " "))
    uneven, low, high = one.ratio.ratio, one.ratio.low, one.ratio.high
    spreads = f"{with_unit(one.second, one.unit, units)} against {with_unit(one.first, one.unit, units)}"
    return (
        f"{what}: the {one.colour}s of {pair.second} scatter {uneven:.1f} times as much as those of {pair.first} "
        f"({low:.1f} to {high:.1f}; {spreads} about the trend)."
    )


def _left_out_sentence(pair: PairComparison) -> list[str]:
    if not pair.left_out:
        return []
    keys = ", ".join(f"{Key(key.number).name} ({' and '.join(key.stands_out_in)})" for key in pair.left_out)
    if len(pair.left_out) > KEYS_NAMED * 3:
        keys = f"{len(pair.left_out)} keys"
    return [f"Left out of all means, because they stand out: {keys}."]
