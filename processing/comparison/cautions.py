"""What a reader must know before believing a comparison, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from processing.calibration_status import FLAG_OF, calibration_status
from processing.comparison.presence import not_told
from processing.comparison.types import PairComparison
from processing.comparison.verdicts import holm
from processing.display import count_of
from processing.keyboard import COLOURS, KeyboardResult
from processing.statistics.correlated import FEWEST
from recordings.keys import Key

IN_WORDS = {
    "missing": "uncalibrated",
    "expired": "calibrated by a record that had expired",
    "foreign": "calibrated by another rig's record",
}


def cautions_of(
    results: Sequence[KeyboardResult], labels: Sequence[str], pairs: Sequence[PairComparison], alpha: float
) -> tuple[str, ...]:
    """Return the cautions, weightiest first; none is a good sign. alpha: of the family of all tests."""
    told = [_calibration(result, label) for result, label in zip(results, labels, strict=True)]
    told += [_rigs(results[0], result, labels[0], label) for result, label in zip(results[1:], labels[1:], strict=True)]
    told += [_stated_at(results, labels)]
    told += [_keys(results[0], result, pair) for result, pair in zip(results[1:], pairs, strict=True)]
    told += [
        caution
        for result, pair in zip(results[1:], pairs, strict=True)
        for caution in _parts_not_told(results[0], result, pair)
    ]
    told += [_lost_to_the_family(pair, alpha) for pair in pairs] if len(pairs) > 1 else []
    return tuple(sentence for sentence in told if sentence)


def _calibration(result: KeyboardResult, label: str) -> str:
    status = calibration_status(result.header)
    if status not in FLAG_OF:
        return ""
    return f"{label} is {IN_WORDS[status]}: how far its force scale is off is in no interval."


def _rigs(first: KeyboardResult, second: KeyboardResult, label: str, other: str) -> str:
    statuses = {calibration_status(result.header) for result in (first, second)}
    rigs = [(result.header.rig.model, result.header.rig.serial_number) for result in (first, second)]
    if statuses == {"calibrated"} or rigs[0] == rigs[1]:
        return ""
    return f"{label} and {other} were recorded on different rigs, not both calibrated: what differs may be the rigs."


def _stated_at(results: Sequence[KeyboardResult], labels: Sequence[str]) -> str:
    places = {result.settings.stated_at for result in results}
    if len(places) == 1:
        return ""
    return f"{', '.join(labels)} are not all stated for the same place of the key: {' and '.join(sorted(places))}."


def _keys(first: KeyboardResult, second: KeyboardResult, pair: PairComparison) -> str:
    counts = [sum(key.strokes > 0 for key in result.keys) for result in (first, second)]
    common = len(pair.keys)
    few = _few_of_a_colour(pair)
    if counts == [common, common]:
        return few.strip()
    compared = f"the {common} that both have are compared" if common > 1 else "the only one that both have is compared"
    sets = f"of {count_of(counts[0], 'key')} of {pair.first} and {counts[1]} of {pair.second}"
    return f"Other key sets: {sets} {compared}.{few}"


def _few_of_a_colour(pair: PairComparison) -> str:
    """Return of which colour there are too few keys for a scatter of their own, as a sentence with a blank before."""
    out = {key.number for key in pair.left_out}
    colours = [Key(number).colour for number in pair.keys if number not in out]
    few = [count_of(count, colour) for colour in COLOURS if 0 < (count := colours.count(colour)) < FEWEST]
    if not few:
        return ""
    return f" Few keys ({', '.join(few)}): their intervals rest on the keys' own budgets and speak of these keys alone."


def _parts_not_told(first: KeyboardResult, second: KeyboardResult, pair: PairComparison) -> list[str]:
    """Return what one recording could not tell of the keys that both have, and the other could."""
    keys = [{key.key.number: key for key in result.keys if key.key.number in pair.keys} for result in (first, second)]
    return [
        f"{(pair.first, pair.second)[which]}: {part.missing}, so on how many keys there is a {part.words} is not "
        f"compared between {pair.first} and {pair.second}."
        for part, which in not_told(*keys)
    ]


def _lost_to_the_family(pair: PairComparison, alpha: float) -> str:
    """Return how many verdicts of a pair are open only because further recordings are compared at the same time."""
    told = [
        *((one.mean.estimate.p, one.p_family) for one in pair.differences),
        *((one.ratio.p, one.p_family) for one in pair.evenness),
        *((one.presence.p, one.p_family) for one in pair.presences),
    ]
    alone = holm([p for p, _ in told])
    lost = sum(p < alpha <= p_family for p, (_, p_family) in zip(alone, told, strict=True))
    if not lost:
        return ""
    return (
        f"{count_of(lost, 'difference')} between {pair.first} and {pair.second} would be sure if only these two were "
        f"compared ({len(told)} tests): every recording more makes more tests, and each must then be surer."
    )
