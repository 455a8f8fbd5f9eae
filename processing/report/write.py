"""Writes both files of a report, each whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from processing.display import Units
from processing.report.content import build_content
from processing.report.html import write_html
from processing.report.pdf import write_pdf
from processing.report.recorded import Made, Recorded
from recordings.errors import NoSuchFile
from recordings.keys import Key
from recordings.safe_files import whole_or_nothing


def write_report(
    recordings: Sequence[Recorded],
    stem: Path,
    units: Units,
    *,
    curves_of: tuple[Key, ...] = (),
    made: Made | None = None,
) -> tuple[Path, Path]:
    """Write STEM.html and STEM.pdf, replacing older ones, and return their paths.

    made: what makes them again, told in them. Raises NoSuchFile (the folder), TooManyRecordings.
    """
    if not stem.absolute().parent.is_dir():
        raise NoSuchFile(stem.parent)
    content = build_content(recordings, units, curves_of=curves_of, made=made)
    html, pdf = stem.with_name(stem.name + ".html"), stem.with_name(stem.name + ".pdf")
    with whole_or_nothing(html) as temporary:
        write_html(content, temporary)
    with whole_or_nothing(pdf) as temporary:
        write_pdf(content, temporary)
    return html, pdf
