"""A verdict on one page to print: the verdict in big letters, the label, the worst keys, the measurands that decide.

How it works: the verdict is told by its word, its sign and its colour, so that it can be read in grey and from afar.
What is told is limited so that one page holds it: the worst keys, three strips; everything is in the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from matplotlib.backends.backend_pdf import PdfPages

from processing.calibration_status import marked
from processing.display import Units, count_of
from processing.keyboard import KeyboardResult
from processing.limits.conformity import Outcome
from processing.limits.sentences import (
    IN_LETTERS,
    counted_keys,
    doubt_in_words,
    label,
    nameless,
    reason_in_words,
    unit_name,
)
from processing.limits.strips import verdict_strips
from processing.limits.types import Limits
from processing.limits.verdict import UnitVerdict
from processing.report.blocks import TableBlock
from processing.report.key_table import Table
from processing.report.paper import Pages, Paper
from processing.report.style import DARK, GREEN, RED, house_style

SIGNS: dict[Outcome, tuple[str, str]] = {"pass": ("✔", GREEN), "fail": ("✘", RED), "cannot tell": ("?", DARK)}
BIG, TITLE, TEXT, SMALL = 34.0, 15.0, 9.0, 7.5
MADE_BY = "keyplumb inspect"
"""By which a page is known for one that may be written over."""
MOST_REASONS = 8
LONGEST_TEXT, LONGEST_REASON = 150, 230
"""Letters of a text of the label and of a reason, two lines each."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What a page is about."""

    verdict: UnitVerdict
    result: KeyboardResult
    limits: Limits
    at: datetime
    """When it was judged, UTC."""


def write_page(judged: Judged, path: Path, units: Units) -> None:
    """Write the page as PDF; the same bytes for the same verdict, limits and time."""
    title = f"{unit_name(judged.verdict.header.run)}, {judged.limits.name}"
    told = {"Title": title, "Subject": MADE_BY, "Creator": "keyplumb", "Producer": "matplotlib", "CreationDate": None}
    with house_style(), PdfPages(path, metadata=told) as pages:
        fill(pages, judged, marked(units, judged.verdict.header), title)


def fill(pages: Pages, judged: Judged, units: Units, title: str) -> None:
    """Put a verdict on paper."""
    verdict = judged.verdict
    sign, colour = SIGNS[verdict.outcome]
    paper = Paper(pages, _short(title))
    paper.text(_short(unit_name(verdict.header.run), 60), TITLE, weight="bold")
    paper.text(f"{sign} {IN_LETTERS[verdict.outcome]}", BIG, weight="bold", colour=colour, before=0.05)
    counted = counted_keys(verdict)
    paper.text(f"{counted[0].upper()}{counted[1:]}. {doubt_in_words(verdict)}".rstrip(), TEXT, before=0.02)
    if caution := nameless(verdict.header.run):
        paper.text(f"Caution: {caution}.", TEXT, colour=RED, before=0.02)
    _put_label(paper, judged)
    _put_reasons(paper, verdict, units)
    strips = verdict_strips(verdict, judged.result, judged.limits, units)
    if strips is not None:
        paper.charts(strips)
    paper.end()


def _put_label(paper: Paper, judged: Judged) -> None:
    rows = tuple((name, _short(text)) for name, text in label(judged.verdict.header, judged.limits, judged.at))
    paper.table(TableBlock("", Table(("what this rests on", ""), rows)))


def _put_reasons(paper: Paper, verdict: UnitVerdict, units: Units) -> None:
    reasons = verdict.reasons()
    if not reasons:
        every = "Every key" if all(key.outcome == "pass" for key in verdict.keys) else "Every key that was judged"
        paper.text(f"{every} and the unit as a whole keep their limits.", TEXT, before=0.1)
        return
    rows = tuple((one.outcome, _short(reason_in_words(one, units), LONGEST_REASON)) for one in reasons[:MOST_REASONS])
    paper.table(TableBlock("", Table(("outcome", "why, worst first"), rows)))
    if len(reasons) > MOST_REASONS:
        paper.text(f"and {count_of(len(reasons) - MOST_REASONS, 'more reason')}", SMALL, before=0.03)


def _short(text: str, longest: int = LONGEST_TEXT) -> str:
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
