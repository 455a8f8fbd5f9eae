"""What a comparison has found, for a report: sentences, tables, and where in the travel recordings differ.

How it works: the first recording is what the others are held against (`processing/comparison`). Recordings that have no
key in common are shown beside one another all the same, with the sentence that says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from processing.comparison.band_words import band_sentences, region_of
from processing.comparison.compare import compare_keyboards
from processing.comparison.curves import CurveBand
from processing.comparison.regions import REGIONS
from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Comparison, PairComparison
from processing.comparison.view import difference_table, how_to_read
from processing.display import Units
from processing.errors import NothingInCommon
from processing.report.blocks import Answer, Block, Folded, Sentences, TableBlock
from processing.report.charts import SMALLEST_RANGE, Axis, Charts, In, Line, Panel, used_looks
from processing.report.headlines import weightiest_first
from processing.report.recorded import Described, jointly_marked

MOST_ON_FIRST_PAGE = 6
ROOM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A comparison, or the sentence that says why there is none; both empty for one recording."""

    comparison: Comparison | None = None
    why_not: str = ""


def comparison_of(recordings: Sequence[Described], margins: dict[str, float] | None = None) -> Found:
    """Return the comparison of all recordings with the first."""
    if len(recordings) < 2:
        return Found()
    try:
        return Found(
            compare_keyboards(
                [recorded.result for recorded in recordings],
                [recorded.name for recorded in recordings],
                described=[recorded.statistics for recorded in recordings],
                margins=margins,
            )
        )
    except NothingInCommon as nothing:
        return Found(why_not=f"They cannot be compared: {nothing}.")


def most_important(recordings: Sequence[Described], found: Found, units: Units) -> tuple[str, ...]:
    """Return the sentences of the first page: what a hand notices most before the rest."""
    if found.comparison is None:
        return (found.why_not,)
    ordered = weightiest_first(found.comparison, jointly_marked(units, recordings))
    if len(ordered) <= MOST_ON_FIRST_PAGE:
        return tuple(ordered)
    more = len(ordered) - MOST_ON_FIRST_PAGE
    return (*ordered[:MOST_ON_FIRST_PAGE], f"And {more} more: see “How they differ”.")


def differences(recordings: Sequence[Described], found: Found, units: Units) -> tuple[Block, ...]:
    """Return every sentence of the comparison, and what must be known before believing it."""
    if found.comparison is None:
        return (Sentences((found.why_not,)),) if found.why_not else ()
    one = found.comparison
    sure = f"{100.0 * (1.0 - one.settings.alpha):g}"
    rule = (
        "Differences are means over the keys that both have, ± their 95 % intervals with both budgets in them. What is "
        f"told differs surely: among all {one.tests} tests together nothing is told by chance in {sure} of 100 "
        "comparisons. What a hand may notice is a guide from published thresholds, no measurement."
    )
    of_bands = (
        f"Bands over the travel are asked by themselves: of all of them together none leaves out 0 by chance in {sure} "
        "of 100 comparisons."
    )
    rules = (rule, of_bands) if any(pair.bands for pair in one.pairs) else (rule,)
    joint = jointly_marked(units, recordings)
    told = tuple(
        Answer(f"{pair.second} against {pair.first}", tuple(pair_sentences(pair, joint))) for pair in one.pairs
    )
    return (*told, Answer("How to read this", (*rules, *one.cautions)))


def difference_tables(recordings: Sequence[Described], found: Found, units: Units) -> tuple[Block, ...]:
    """Return the table of differences of each pair."""
    if found.comparison is None:
        return ()
    joint = jointly_marked(units, recordings)
    tables = tuple(
        TableBlock(
            f"{pair.second} against {pair.first}",
            table := difference_table(pair, joint),
            frozenset(place for place, row in enumerate(table.rows) if "different" in row),
        )
        for pair in found.comparison.pairs
    )
    on_paper = "Every difference with its interval is in the HTML file, and in a table by: keyplumb compare --table."
    return (Sentences((how_to_read(found.comparison),)), Folded("All differences", on_paper, tables))


def travel(recordings: Sequence[Described], found: Found, units: Units) -> tuple[Block, ...]:
    """Return where in the travel each pair differs, in pictures and sentences; nothing without bands."""
    if found.comparison is None:
        return ()
    joint = jointly_marked(units, recordings)
    blocks: list[Block] = []
    for number, pair in enumerate(found.comparison.pairs, 1):
        if pair.bands:
            blocks.append(_bands(pair, In(joint), number))
        if said := band_sentences(pair, joint):
            blocks.append(Sentences(tuple(said)))
    return tuple(blocks)


def _bands(pair: PairComparison, to: In, number: int) -> Charts:
    shown = [
        band
        for region in REGIONS
        for branch in ("down", "up")
        for band in pair.bands
        if (band.region, band.branch, band.colour) == (region.name, branch, pair.bands[0].colour)
    ]
    reaches = (float(np.max(np.abs(band.difference_newton) + band.half_width_newton)) for band in shown)
    reach = max(SMALLEST_RANGE, *reaches)
    force = to.axis("difference", "N", -(1.0 + ROOM) * reach, (1.0 + ROOM) * reach)
    panels = tuple(_band_panel(band, region_of(pair, band).short, to, force, number) for band in shown)
    return Charts(
        caption=f"{pair.second} less {pair.first}, mean of the {shown[0].colour}s that both have. All bands together "
        "hold all over the travel with 95 %; where one leaves out 0 they surely differ. The way ends where the key bed "
        "begins.",
        panels=panels,
        columns=2,
        height_mm=50.0,
        legend=used_looks(panels),
    )


def _band_panel(band: CurveBand, where: str, to: In, force: Axis, number: int) -> Panel:
    way, end = to(band.way_mm, "mm"), float(band.way_mm[-1])
    zero = np.zeros(2)
    return Panel(
        title=f"{'Pressing' if band.branch == 'down' else 'Letting up'}: {where} ({band.keys} keys)",
        x=to.axis("displacement from touch", "mm", 0.0, end),
        y=force,
        lines=(
            Line(label="", look="zero", x=to(np.array([0.0, end]), "mm"), y=zero, read_off=False),
            Line(
                label="mean difference",
                look=f"{band.branch} {number}",
                x=way,
                y=to(band.difference_newton, "N"),
                band=to(band.half_width_newton, "N"),
            ),
        ),
    )
