"""The report as a PDF to print: A4 upright, the same sections as the HTML, one after the other.

How it works: a `Paper` is filled from the top; what does not fit goes on the next page. All lengths are in inches.
"""

from __future__ import annotations

from pathlib import Path

from matplotlib.backends.backend_pdf import PdfPages

from processing.report.blocks import Answer, Block, Caution, Folded, ReportContent, Sentences, TableBlock
from processing.report.charts import Charts
from processing.report.paper import Paper
from processing.report.style import RED, house_style

SMALL, TEXT, HEAD, TITLE = 8.0, 9.0, 13.0, 17.0
ROOM_UNDER_A_HEAD = 1.1
"""A head stands on the next page if there is less room under it."""


def write_pdf(content: ReportContent, path: Path) -> None:
    """Write the report to a file that is not there yet or may be replaced; the same bytes for the same content."""
    told = {"Title": content.title, "Creator": "keyplumb", "Producer": "matplotlib", "CreationDate": None}
    with house_style(), PdfPages(path, metadata=told) as pages:
        fill(Paper(pages, content.title), content)


def fill(paper: Paper, content: ReportContent) -> None:
    """Put a report on paper, to the end of its last page."""
    paper.text(content.title, TITLE, weight="bold")
    for line in content.subtitles:
        paper.text(line, TEXT, before=0.05)
    for section in content.sections:
        first = section.blocks[0]
        needs = paper.charts_need(first) if isinstance(first, Charts) else ROOM_UNDER_A_HEAD
        paper.keep_together(needs + 0.5)
        paper.text(section.title, HEAD, weight="bold", before=0.28)
        for block in section.blocks:
            _block(paper, block)
    paper.end()


def _block(paper: Paper, block: Block) -> None:
    match block:
        case Answer():
            paper.keep_together(0.6)
            paper.text(block.question, TEXT + 1, weight="bold", before=0.12)
            for sentence in block.sentences:
                paper.text(sentence, TEXT, bullet="· ", before=0.03)
        case Sentences():
            for sentence in block.sentences:
                paper.text(sentence, TEXT, before=0.05)
        case Caution():
            paper.text(block.text, TEXT, colour=RED, before=0.1)
        case TableBlock():
            paper.table(block)
        case Folded():
            paper.text(block.title, TEXT + 1, weight="bold", before=0.15)
            paper.text(block.on_paper, TEXT, before=0.05)
        case Charts():
            paper.charts(block)
