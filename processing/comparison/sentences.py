"""A comparison in plain sentences, each with its numbers; the weightiest first.

How it works: of a measurand that surely differs, one sentence tells it for the whole keyboard if the regions agree
with that, else one for each region in which it surely differs. Naturals speak; sharps are added in brackets, or speak
alone where only they differ; where the two colours part ways (direction, what a hand notices, the margin), both are
told. A difference of the down weight is taken apart into balance and friction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from processing.comparison.amounts import (
    amount,
    interval_of_ratio,
    margin_in_words,
    mean_beside,
    spread_in_words,
    two_digits,
)
from processing.comparison.difference_words import PHRASES, Phrase
from processing.comparison.regions import PARTS, WHOLE
from processing.comparison.types import Comparison, Difference, Evenness, PairComparison, PresenceDiffers
from processing.display import Units, count_of
from processing.statistics.correlated import Estimate
from recordings.keys import Key

PARTS_OF_DOWN_WEIGHT = {"balance": "balance_weight", "friction": "friction"}
SMALL_PART = 0.25
"""Share of a difference up to which one of its two parts has no say; then three quarters and more are the other's."""
KEYS_NAMED = 6
"""More are counted, not named."""


@dataclass(frozen=True, slots=True)
class Told:
    """One sentence, and what it is about."""

    about: Literal["presence", "difference", "evenness", "keys"]
    sentence: str
    differences: tuple[Difference, ...] = ()
    """That it tells, of one measurand and region; of one colour, or of both."""


def sentences_of(comparison: Comparison, units: Units) -> list[str]:
    """Return all that was found, pair after pair."""
    return [sentence for pair in comparison.pairs for sentence in pair_sentences(pair, units)]


def pair_sentences(pair: PairComparison, units: Units) -> list[str]:
    """Return what was found of one pair; if nothing surely differs, that."""
    return [one.sentence for one in told_of(pair, units)]


def told_of(pair: PairComparison, units: Units) -> list[Told]:
    """Return what was found of one pair, sentence by sentence."""
    told = [Told("presence", _presence_sentence(one, pair)) for one in pair.presences if one.different]
    for phrase in PHRASES:
        told += _told_of_measurand(pair, phrase, units)
    told += [Told("evenness", _evenness_sentence(one, pair, units)) for one in pair.evenness if one.different]
    if len(pair.left_out) == len(pair.keys):
        all_of_them = (
            "the one key that both have stands"
            if len(pair.keys) == 1
            else f"all {len(pair.keys)} keys that both have stand"
        )
        told.append(Told("keys", f"No number could be compared: {all_of_them} out in one of them."))
    elif not told:
        told = [Told("keys", f"No sure difference between {pair.first} and {pair.second}.")]
    return [*told, *(Told("keys", sentence) for sentence in _left_out_sentence(pair))]


def _told_of_measurand(pair: PairComparison, phrase: Phrase, units: Units) -> list[Told]:
    told: list[Told] = []
    spoken: set[tuple[str, str]] = set()
    for colour, other in (("natural", "sharp"), ("sharp", "natural")):
        for one in _spoken(pair, phrase.name, colour):
            if (one.region.name, colour) not in spoken:
                aside = pair.difference(phrase.name, other, one.region.name)
                both = (one,) if aside is None or aside.verdict != "different" else (one, aside)
                told.append(Told("difference", _difference_sentence(pair, phrase, both, units), both))
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


def _difference_sentence(pair: PairComparison, phrase: Phrase, both: Sequence[Difference], units: Units) -> str:
    """Return what differs. both: of one colour, and of the other where that surely differs as well."""
    one = both[0]
    name, difference = one.region.only_key, one.mean.estimate
    told = phrase.sentence(difference.value).format(
        first=pair.first,
        second=pair.second,
        amount=amount(difference, one.unit, units),
        a_key=name or f"a {one.colour}",
        A_key=name or f"A {one.colour}",
        one="that" if name else "one",
        keys=_who(one),
        where="" if name else f" {one.region.where}",
        at_first=mean_beside(one.first, difference, one.unit, units),
        at_second=mean_beside(one.second, difference, one.unit, units),
        placed_first=_placed(one.first, one, units),
        placed_second=_placed(one.second, one, units),
    )
    beside = "".join(_beside(phrase, one, other, units) for other in both[1:])
    return f"{told}{beside}{_cause(pair, one, units)}{_within(both, units)}{_guide(both)}."


def _who(one: Difference) -> str:
    """Return what is spoken of: the colour, or the only key by its name."""
    return one.region.only_key or f"{one.colour}s"


def _placed(value: float, one: Difference, units: Units) -> str:
    told = mean_beside(abs(value), one.mean.estimate, one.unit, units)
    return f"{told} {'after' if value > 0.0 else 'before'}"


def _beside(phrase: Phrase, one: Difference, aside: Difference, units: Units) -> str:
    """Return the other colour in brackets: with its own direction, and its own ends, where they are others."""
    value = aside.mean.estimate.value
    opposite = one.mean.estimate.value * value < 0.0
    who = _who(aside)
    if not aside.region.only_key and not one.region.is_about_as(aside.region):
        who += f" {aside.region.where}"
    told = amount(aside.mean.estimate, aside.unit, units)
    return f" ({who}: {told}{f' {phrase.word(value)}' if opposite else ''})"


def _cause(pair: PairComparison, one: Difference, units: Units) -> str:
    """Return which part of the down weight makes the difference: down weight is balance weight plus friction."""
    if one.name not in ("down_weight", "up_weight"):
        return ""
    found = {part: pair.difference(name, one.colour, one.region.name) for part, name in PARTS_OF_DOWN_WEIGHT.items()}
    estimates = {part: told.mean.estimate for part, told in found.items() if told is not None}
    if len(estimates) < len(found):
        return ""
    signs = {"balance": 1.0, "friction": 1.0 if one.name == "down_weight" else -1.0}
    made = {part: signs[part] * estimate.value for part, estimate in estimates.items()}
    other, cause = sorted(made, key=lambda part: abs(made[part]))
    whole = sum(made.values())
    if whole and abs(made[other] / whole) <= SMALL_PART:
        return f"; {cause}, not {other}, makes the difference"
    if made[other] * whole < 0.0:
        return f"; {cause} makes the difference, although {_takes_back(other, estimates[other], one.unit, units)}"
    return "; balance and friction both have a part in it"


def _takes_back(part: str, estimate: Estimate, unit: str, units: Units) -> str:
    sure = abs(estimate.value) > estimate.expanded()
    return f"{part} {'takes' if sure else 'may take'} {amount(estimate, unit, units)} of it back"


def _within(both: Sequence[Difference], units: Units) -> str:
    """Return that differences, sure as they are, surely lie within the margin."""
    inside = [one for one in both if one.within_margin]
    if not inside or inside[0].margin is None:
        return ""
    whose = f"on {_who(inside[0])} " if len(inside) < len(both) else ""
    return f"; {whose}within the {margin_in_words(inside[0].margin, inside[0].unit, units)} that count as alike"


ALIKE_ON_BOTH = {
    "may be noticed": "a hand may notice",
    "at the edge": "at the edge of what a hand notices",
    "hardly noticed": "a hand hardly notices",
}
ON_THE_ONE = {"may be noticed": "a hand may notice it on {}", "at the edge": "at the edge of what a hand notices on {}"}
ON_THE_OTHER = {"at the edge": "on {} it is at the edge of that", "hardly noticed": "on {} it hardly notices it"}


def _guide(both: Sequence[Difference]) -> str:
    """Return what a hand notices, the stronger first where the two colours are not alike in it."""
    told = [(one.noticed.guess, _who(one)) for one in both if one.noticed is not None]
    if not told:
        return ""
    (most, here), (least, there) = sorted([told[0], told[-1]], key=lambda guess: list(ALIKE_ON_BOTH).index(guess[0]))
    if most == least:
        return f"; {ALIKE_ON_BOTH[most]} (guide)"
    return f"; {ON_THE_ONE[most].format(here)}, {ON_THE_OTHER[least].format(there)} (guide)"


def _presence_sentence(one: PresenceDiffers, pair: PairComparison) -> str:
    told = one.presence
    return (
        f"{_on(told.second, told.keys, pair.second)} a {told.words} was found, "
        f"{_on(told.first, told.keys, pair.first, opening=False)}."
    )


def _on(count: int, keys: int, label: str, *, opening: bool = True) -> str:
    return f"{'On' if opening else 'on'} {count if count else 'none'} of {count_of(keys, 'key')} of {label}"


def _evenness_sentence(one: Evenness, pair: PairComparison, units: Units) -> str:
    what = next((phrase.caption for phrase in PHRASES if phrase.name == one.name), one.name.replace("_", " "))
    second, first = (spread_in_words(spread, one.unit, units) for spread in (one.second, one.first))
    whose, ratio = f"{what}: the {one.colour}s of {pair.second} scatter", one.ratio
    if one.first == 0.0:
        return (
            f"{whose} at least {two_digits(ratio.low)} times as much as those of {pair.first} ({second} about the "
            "trend, against nothing that the rig's own scatter does not explain)."
        )
    if one.second == 0.0:
        return (
            f"{whose} at most {two_digits(ratio.high)} times as much as those of {pair.first} (nothing about the trend "
            f"that the rig's own scatter does not explain, against {first})."
        )
    return (
        f"{whose} {two_digits(ratio.ratio)} times as much as those of {pair.first} "
        f"({interval_of_ratio(ratio.low, ratio.high)}; {second} against {first} about the trend)."
    )


def _left_out_sentence(pair: PairComparison) -> list[str]:
    if not pair.left_out:
        return []
    keys = ", ".join(f"{Key(key.number).name} ({' and '.join(key.stands_out_in)})" for key in pair.left_out)
    if len(pair.left_out) > KEYS_NAMED * 3:
        keys = f"{len(pair.left_out)} keys"
    return [f"Left out of all means, because they stand out: {keys}."]
