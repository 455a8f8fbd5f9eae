"""Writes both files of a report, each whole or not at all, and both or neither as far as a disk allows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from processing.display import Units
from processing.own_files import Mark, demand_own_place
from processing.report.content import build_content
from processing.report.html import write_html
from processing.report.pdf import write_pdf
from processing.report.recorded import Made, Recorded
from recordings.keys import Key
from recordings.safe_files import whole_or_nothing

PAGE = Mark(b"<!doctype html>", b'<p class="soft" id="how-to-read">', "`report` or `trend` wrote")
PAPER = Mark(b"%PDF-", b"/Creator (keyplumb)", "`report` or `trend` wrote")
"""Both commands write pages of one kind, which are made again by one command."""


def places_of(stem: Path) -> tuple[Path, Path]:
    """Return STEM.html and STEM.pdf; a stem that names one of them is taken for both.

    >>> [path.name for path in places_of(Path("fern.v2.html"))]
    ['fern.v2.html', 'fern.v2.pdf']
    """
    named = stem.suffix.lower() in (".html", ".pdf")
    name = stem.stem if named else stem.name
    return stem.with_name(f"{name}.html"), stem.with_name(f"{name}.pdf")


def demand_places(html: Path, pdf: Path) -> None:
    """Raise what would keep a report from being written: NoSuchFolder, CannotWrite, FileIsThere."""
    demand_own_place(html, PAGE)
    demand_own_place(pdf, PAPER)


def write_report(
    recordings: Sequence[Recorded],
    stem: Path,
    units: Units,
    *,
    curves_of: tuple[Key, ...] = (),
    margins: dict[str, float] | None = None,
    made: Made | None = None,
) -> tuple[Path, Path]:
    """Write STEM.html and STEM.pdf, replacing older reports, and return their paths.

    margins: up to which difference recordings are alike; None: the built-in ones.
    made: what makes them again, told in them. Raises what `demand_places` does, TooManyRecordings.
    """
    html, pdf = places_of(stem)
    demand_places(html, pdf)
    content = build_content(recordings, units, curves_of=curves_of, margins=margins, made=made)
    with whole_or_nothing(html) as page, whole_or_nothing(pdf) as paper:
        write_html(content, page)
        write_pdf(content, paper)
    return html, pdf
