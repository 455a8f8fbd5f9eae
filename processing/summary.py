"""A recording in a few sentences that a practitioner would say."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from processing.calibration_status import calibration_sentence, marked
from processing.display import Units, count_of, in_words, with_unit
from processing.keyboard import COLOURS, FEWEST_FOR_TREND, KeyboardResult, OddKey
from processing.statistics.keyboard_statistics import KeyboardStatistics
from processing.trend_words import trend_sentence
from processing.verdicts import AFTER, BEFORE, UNSURE, notch_decides, note_order, sustain


def summary(result: KeyboardResult, statistics: KeyboardStatistics, units: Units) -> list[str]:
    """Return the sentences, most important first; what was not measured is not spoken of. statistics: of `result`."""
    units = marked(units, result.header)
    sentences = [what_was_done(result), *_trend_sentences(result, statistics, units), _letoff_sentence(result, units)]
    sentences += [_weight_test_sentence(result, units), _note_sentence(result, units), _release_sentence(result, units)]
    sentences += [_sustain_sentence(result), _motion_sentence(result, units)]
    return [sentence for sentence in sentences if sentence]


def odd_key_sentences(result: KeyboardResult, units: Units) -> list[tuple[str, str]]:
    """Return for each odd key its name and the reasons in words."""
    units = marked(units, result.header)
    return [(odd.result.key.name, reasons_in_words(odd, units)) for odd in result.odd_keys]


def nobody_odd_sentence(result: KeyboardResult) -> str:
    """Return what it means that no key stands out: where keys are too few, that it cannot be told."""
    counts = {colour: sum(bool(key.strokes) and key.key.colour == colour for key in result.keys) for colour in COLOURS}
    enough = [colour for colour, count in counts.items() if count >= FEWEST_FOR_TREND]
    few = [colour for colour, count in counts.items() if 0 < count < FEWEST_FOR_TREND]
    if not enough:
        keys = count_of(sum(counts.values()), "measured key")
        return f"Whether one stands out from its neighbours cannot be told of {keys}; five of a colour are the least."
    if few:
        return f"None of the {enough[0]}s stands out from its neighbours; of the {few[0]}s there are too few to tell."
    return "None stands out from its neighbours."


def reasons_in_words(odd: OddKey, units: Units) -> str:
    """Return why a key stands out, reason after reason."""
    return "; ".join(in_words(reason.template, reason.numbers, units) for reason in odd.reasons)


def what_was_done(result: KeyboardResult) -> str:
    """Return how many keys were measured, and whether the numbers can be traced."""
    measured = [key for key in result.keys if key.strokes]
    strokes = sum(key.strokes for key in measured)
    done = f"{len(measured)} of {count_of(len(result.keys), 'key')} measured, {count_of(strokes, 'stroke')} in all."
    where = " Force and travel are stated for the front edge." if result.settings.stated_at == "front edge" else ""
    return f"{done}{where} {calibration_sentence(result.header)}"


def _trend_sentences(result: KeyboardResult, statistics: KeyboardStatistics, units: Units) -> list[str]:
    spoken = (
        ("down_weight", "Down weight"),
        ("up_weight", "Up weight"),
        ("friction", "Friction"),
        ("key_dip", f"Key dip (at {with_unit(result.settings.feature.bed_newton, 'N', units)})"),
    )
    return [told for name, words in spoken if (told := _trend_sentence(result, statistics, name, words, units))]


def _trend_sentence(result: KeyboardResult, statistics: KeyboardStatistics, name: str, words: str, units: Units) -> str:
    if sentence := trend_sentence(statistics, name, words, units):
        return sentence
    values = _values(result, name)
    if not values:
        return ""
    shown = with_unit(float(np.median(values)), result.keys[0][name].unit, units)
    return f"{words}: {shown}{_median_of(values, ' (median of {} keys)')}."


def _median_of(values: Sequence[float], words: str) -> str:
    """Return words with how many values a median is of, or nothing: of one it is none."""
    return words.format(len(values)) if len(values) > 1 else ""


def _values(result: KeyboardResult, name: str) -> list[float]:
    return [value for key in result.keys if (value := key[name].value) is not None]


def _letoff_sentence(result: KeyboardResult, units: Units) -> str:
    measured = [key for key in result.keys if key.strokes]
    with_notch = [key for key in measured if key.letoff == "found"]
    if not measured:
        return ""
    if not with_notch:
        return "No let-off on any key."
    places, drops = (
        [value for key in with_notch if (value := key[name].value) is not None]
        for name in ("letoff_peak_position", "letoff_drop")
    )
    place, drop = float(np.median(places)), float(np.median(drops))
    return (
        f"Let-off on {len(with_notch)} of {count_of(len(measured), 'key')},{_median_of(places, ' typically')} "
        f"at {with_unit(place, 'mm', units)} "
        f"with a drop of {with_unit(drop, 'N', units)}."
    )


def _weight_test_sentence(result: KeyboardResult, units: Units) -> str:
    """Return on how many keys the notch decides what a weight test reads."""
    decided = [found for key in result.keys if (found := notch_decides(key)) is not None]
    if not decided:
        return ""
    past_of = [found.past_newton for found in decided]
    past, without = (
        with_unit(float(np.median(forces)), "N", units)
        for forces in (past_of, [found.without_newton for found in decided])
    )
    return (
        f"A weight test reads the notch on {count_of(len(decided), 'key')}:{_median_of(past_of, ' typically')} {past} "
        f"sinks the key past it; "
        f"without the notch {without} would."
    )


def _sustain_sentence(result: KeyboardResult) -> str:
    verdicts = [sustain(key, result.settings) for key in result.keys]
    told = [
        f"{verdict} on {count_of(count, 'key')}"
        for verdict in ("clear", "narrow", "none")
        if (count := verdicts.count(verdict))
    ]
    return f"Room to repeat with the note held: {', '.join(told)}." if told else ""


def _motion_sentence(result: KeyboardResult, units: Units) -> str:
    """Return the typical numbers of keys in motion, with the keys to ask for the others."""
    spoken = (
        ("note_latency", "note told {} late"),
        ("effective_mass", "effective mass {}"),
        ("lowest_velocity", "lowest velocity {}"),
        ("repetition_limit", "repeats at {}"),
    )
    told, most = [], list[float]()
    for name, words in spoken:
        if values := _values(result, name):
            most = max(most, values, key=len)
            told.append(words.format(with_unit(float(np.median(values)), result.keys[0][name].unit, units)))
    medians = _median_of(most, " (medians)")
    return f"In motion{medians}: {', '.join(told)}." if told else ""


def _note_sentence(result: KeyboardResult, units: Units) -> str:
    """Return on how many keys the note comes after the notch; the sign is given only where it is sure."""
    margins = [key["trigger_margin"] for key in result.keys if key["trigger_margin"].value is not None]
    if not margins:
        places = _values(result, "trigger_position")
        if not places:
            return ""
        return f"Notes start at {with_unit(float(np.median(places)), 'mm', units)}{_median_of(places, ' (median)')}."
    orders = [note_order(key) for key in result.keys]
    after, before, unsure = (orders.count(word) for word in (AFTER, BEFORE, UNSURE))
    told = [
        f"after the notch on {count_of(after, 'key')} (one can rest on the notch and push through it to sound)"
        if after
        else "",
        f"before the notch on {count_of(before, 'key')}" if before else "",
    ]
    sentence = f"The note comes {'; '.join(part for part in told if part)}" if any(told) else "Note and notch"
    return sentence + (f"; on {count_of(unsure, 'key')} the order cannot be told." if unsure else ".")


def _release_sentence(result: KeyboardResult, units: Units) -> str:
    heights = _values(result, "release_height")
    if not heights:
        return ""
    low, high = (with_unit(float(end), "mm", units) for end in np.percentile(heights, [5.0, 95.0]))
    if len(heights) < FEWEST_FOR_TREND:
        median = with_unit(float(np.median(heights)), "mm", units)
        return f"Notes stop {median} above the dip{_median_of(heights, ' (median)')}."
    return f"Notes stop {low} to {high} above the dip (5 to 95 % of keys)."
