"""The tables of a report: keys that stand out, all keys, all numbers of each key, remarks on the recording."""

from __future__ import annotations

from collections.abc import Sequence

from processing.calibration_status import marked
from processing.display import Units, finding_in_words, measured, remark_on
from processing.features.table import FEATURES
from processing.report.blocks import Block, Folded, Sentences, TableBlock
from processing.report.key_table import Table, key_table
from processing.report.recorded import Described
from processing.settings import Settings
from processing.stages import KeyResult
from processing.summary import nobody_odd_sentence, odd_key_sentences
from processing.verdicts import notch_sentence, note_order, sustain


def odd_tables(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return the keys that stand out from their neighbours, with the reasons."""
    return tuple(
        _reasons(
            recorded,
            odd_key_sentences(recorded.result, units),
            "Why",
            recordings,
            none=nobody_odd_sentence(recorded.result),
        )
        for recorded in recordings
    )


def recording_tables(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return what there is to say of the recording of keys, not of the keys; nothing if there is nothing."""
    return tuple(
        _reasons(recorded, found, "What was found", recordings)
        for recorded in recordings
        if (found := recording_findings(recorded, units))
    )


def recording_findings(recorded: Described, units: Units) -> list[tuple[str, str]]:
    """Return key and finding of all that is to be said of a recording."""
    own = marked(units, recorded.result.header)
    return [
        (key.key.name, finding_in_words(finding, own))
        for key in recorded.result.keys
        for finding in key.findings
        if not finding.odd
    ]


def whose(recorded: Described, recordings: Sequence[Described], words: str) -> str:
    """Return words with the recording's name before them, where there are several."""
    if len(recordings) == 1:
        return words
    return f"{recorded.name}: {words[0].lower()}{words[1:]}" if words else recorded.name


def _reasons(
    recorded: Described, found: list[tuple[str, str]], why: str, recordings: Sequence[Described], none: str = ""
) -> Block:
    if not found:
        return Sentences((whose(recorded, recordings, none),))
    return TableBlock(whose(recorded, recordings, ""), Table(("Key", why), tuple(found)))


def key_tables(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return a row a key for each recording."""
    return tuple(
        TableBlock(
            whose(recorded, recordings, "All keys"),
            table := key_table(recorded.result, units),
            frozenset(place for place, row in enumerate(table.rows) if row[-1] == "stands out"),
            numbers=True,
        )
        for recorded in recordings
    )


def all_numbers(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return every measurand of every key, to be unfolded."""
    return tuple(
        Folded(
            whose(recorded, recordings, "All numbers of each key"),
            "All numbers of each key, with intervals, are in the HTML file, and in a table by: keyplumb measure --csv.",
            tuple(
                numbers_of(key, marked(units, recorded.result.header), recorded.result.settings)
                for key in recorded.result.keys
            ),
        )
        for recorded in recordings
    )


def numbers_of(key: KeyResult, units: Units, settings: Settings) -> TableBlock:
    """Return every measurand of a key with its 95 % interval or why it is missing, and what they amount to in words."""
    rows = tuple(
        (feature.caption, measured(key[feature.name], units), remark_on(key[feature.name])) for feature in FEATURES
    )
    told = (
        ("Note and notch", note_order(key) or "", ""),
        ("Room to repeat with the note held, verdict", sustain(key, settings) or "", ""),
        ("Weight test", notch_sentence(key, units), ""),
    )
    verdicts = tuple(row for row in told if row[1])
    return TableBlock(key.key.name, Table(("Measurand", "Value, 95 % interval", "Remark"), rows + verdicts))
