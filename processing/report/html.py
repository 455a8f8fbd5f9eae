"""The report as one HTML file that needs nothing else: pictures are inside, no script, no font, no network."""

from __future__ import annotations

import io
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from processing.report.content import Picture, ReportContent
from processing.report.style import house_style


def write_html(content: ReportContent, path: Path) -> None:
    """Write the report to a file that is not there yet or may be replaced."""
    environment = Environment(
        loader=PackageLoader("processing.report", ""), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    environment.filters["svg"] = as_svg
    path.write_text(environment.get_template("report.html.j2").render(report=content), encoding="utf-8")


def as_svg(picture: Picture) -> str:
    """Return a picture as SVG text, the same bytes each time."""
    with house_style():
        figure = picture.draw()
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    svg = out.getvalue()
    return svg[svg.index("<svg") :]
