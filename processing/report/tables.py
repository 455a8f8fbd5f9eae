"""The tables of a report: keys that stand out, trends, all keys, all numbers of each key, remarks on the recording."""

from __future__ import annotations

from collections.abc import Sequence

from processing.calibration_status import marked
from processing.display import Units, finding_in_words, measured, number, remark_on
from processing.features.table import FEATURES
from processing.keyboard import Trend
from processing.report.blocks import Block, Folded, Sentences, TableBlock
from processing.report.key_table import Table, key_table
from processing.report.recorded import Recorded
from processing.settings import Settings
from processing.stages import KeyResult
from processing.summary import odd_key_sentences
from processing.verdicts import notch_sentence, note_order, sustain
from recordings.keys import Key


def odd_tables(recordings: Sequence[Recorded], units: Units) -> tuple[Block, ...]:
    """Return the keys that stand out from their neighbours, with the reasons."""
    return tuple(
        _reasons(recorded, odd_key_sentences(recorded.result, units), "Why", recordings, none="No key stands out")
        for recorded in recordings
    )


def recording_tables(recordings: Sequence[Recorded], units: Units) -> tuple[Block, ...]:
    """Return what there is to say of the recording of keys, not of the keys; nothing if there is nothing."""
    return tuple(
        _reasons(recorded, found, "What was found", recordings)
        for recorded in recordings
        if (found := recording_findings(recorded, units))
    )


def recording_findings(recorded: Recorded, units: Units) -> list[tuple[str, str]]:
    """Return key and finding of all that is to be said of a recording."""
    own = marked(units, recorded.result.header)
    return [
        (key.key.name, finding_in_words(finding, own))
        for key in recorded.result.keys
        for finding in key.findings
        if not finding.odd
    ]


def _whose(recorded: Recorded, recordings: Sequence[Recorded], words: str) -> str:
    if len(recordings) == 1:
        return words
    return f"{recorded.name}: {words[0].lower()}{words[1:]}" if words else recorded.name


def _reasons(
    recorded: Recorded, found: list[tuple[str, str]], why: str, recordings: Sequence[Recorded], none: str = ""
) -> Block:
    if not found:
        return Sentences((_whose(recorded, recordings, none) + ".",))
    return TableBlock(_whose(recorded, recordings, ""), Table(("Key", why), tuple(found)))


def trend_table(recordings: Sequence[Recorded], units: Units) -> tuple[Block, ...]:
    """Return where each trend starts and ends, how steep it is, and how far keys scatter about it."""
    heads = ("", "Keys", "Where it begins", "Where it ends", "Per octave", "Scatter about it")
    tables = []
    for recorded in recordings:
        own = marked(units, recorded.result.header)
        rows = tuple(_trend_row(trend, own) for trend in recorded.result.trends)
        if rows:
            tables.append(TableBlock(_whose(recorded, recordings, "Trends from bass to treble"), Table(heads, rows)))
    return tuple(tables)


def _trend_row(trend: Trend, units: Units) -> tuple[str, ...]:
    caption = next(feature.caption for feature in FEATURES if feature.name == trend.name)
    shown = units.of(trend.unit)
    first, last = (
        f"{number(value, trend.unit, units)} at {Key(key).name}"
        for value, key in ((trend.at_first, trend.first_key), (trend.at_last, trend.last_key))
    )
    slope = f"{units.value(trend.per_octave, trend.unit):+.2f}"
    spread = f"{units.value(trend.spread, trend.unit):.2g}"
    return f"{caption} ({shown}), {trend.colour}s", str(trend.count), first, last, slope, spread


def key_tables(recordings: Sequence[Recorded], units: Units) -> tuple[Block, ...]:
    """Return a row a key for each recording."""
    return tuple(
        TableBlock(
            _whose(recorded, recordings, "All keys"),
            table := key_table(recorded.result, units),
            frozenset(place for place, row in enumerate(table.rows) if row[-1] == "stands out"),
            numbers=True,
        )
        for recorded in recordings
    )


def all_numbers(recordings: Sequence[Recorded], units: Units) -> tuple[Block, ...]:
    """Return every measurand of every key, to be unfolded."""
    return tuple(
        Folded(
            _whose(recorded, recordings, "All numbers of each key"),
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
