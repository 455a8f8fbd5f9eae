"""What a report is made of, before it is HTML or PDF: sections of sentences, tables and charts."""

from __future__ import annotations

from dataclasses import dataclass

from processing.report.charts import Charts
from processing.report.key_table import Table


@dataclass(frozen=True, slots=True)
class Answer:
    """A question a reader has, and the sentences that answer it."""

    question: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sentences:
    """A paragraph a sentence."""

    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableBlock:
    """A table under its title."""

    title: str
    table: Table
    marked_rows: frozenset[int] = frozenset()
    """Rows that are to catch the eye."""
    numbers: bool = False
    """Whether all columns but the first and the last hold numbers."""


@dataclass(frozen=True, slots=True)
class Folded:
    """Tables that a page shows when asked; on paper there is a sentence in their place."""

    title: str
    on_paper: str
    tables: tuple[TableBlock, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """What must not be overlooked."""

    text: str


Block = Answer | Sentences | TableBlock | Folded | Caution | Charts


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a report."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class ReportContent:
    """Everything in a report."""

    title: str
    subtitles: tuple[str, ...]
    sections: tuple[Section, ...]

    def blocks(self) -> tuple[Block, ...]:
        """Return all blocks in the order of reading."""
        return tuple(block for section in self.sections for block in section.blocks)
