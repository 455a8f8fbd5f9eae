"""What a reader must know before believing a comparison, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from processing.calibration_status import FLAG_OF, calibration_status
from processing.comparison.types import PairComparison
from processing.keyboard import COLOURS, KeyboardResult
from processing.statistics.correlated import FEWEST
from recordings.keys import Key

IN_WORDS = {
    "missing": "uncalibrated",
    "expired": "calibrated by a record that had expired",
    "foreign": "calibrated by another rig's record",
}


def cautions_of(
    results: Sequence[KeyboardResult], labels: Sequence[str], pairs: Sequence[PairComparison]
) -> tuple[str, ...]:
    """Return the cautions, weightiest first; none is a good sign."""
    told = [_calibration(result, label) for result, label in zip(results, labels, strict=True)]
    told += [_rigs(results[0], result, labels[0], label) for result, label in zip(results[1:], labels[1:], strict=True)]
    told += [_stated_at(results, labels)]
    told += [_keys(results[0], result, pair) for result, pair in zip(results[1:], pairs, strict=True)]
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
    return (
        f"Other key sets: of {counts[0]} keys of {pair.first} and {counts[1]} of {pair.second} the {common} that both "
        f"have are compared.{few}"
    )


def _few_of_a_colour(pair: PairComparison) -> str:
    """Return of which colour there are too few keys for a scatter of their own, as a sentence with a blank before."""
    out = {key.number for key in pair.left_out}
    colours = [Key(number).colour for number in pair.keys if number not in out]
    few = [f"{count} {colour}s" for colour in COLOURS if 0 < (count := colours.count(colour)) < FEWEST]
    if not few:
        return ""
    return f" {' and '.join(few)} are few: their intervals rest on the keys' own budgets and speak of these keys alone."
