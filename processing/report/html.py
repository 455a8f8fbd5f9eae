"""The report as one HTML file that needs nothing else: its data, its style and its own script are inside.

How it works: the page is written from the report's sections; pictures are empty places that the script fills from the
embedded data. The page's own security policy forbids every fetch and every script but this one, named by its hash.
"""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from processing.report.blocks import ReportContent
from processing.report.chart_data import charts_data
from processing.report.charts import Charts
from processing.report.typesetting import unbreakable

HERE = Path(__file__).parent
SCRIPT_FILES = ("report_axes.js", "report_chart.js", "report_page.js")
"""Of the page's script, in order: scales and marks, one chart, the page."""

TALL_MM = 170.0
"""Of panels as they are on paper: pictures that are higher together begin on a page of their own if one prints them."""


def write_html(content: ReportContent, path: Path) -> None:
    """Write the report to a file that is not there yet or may be replaced."""
    path.write_text(as_html(content), encoding="utf-8")


def as_html(content: ReportContent) -> str:
    """Return the page, the same text for the same content."""
    environment = Environment(
        loader=PackageLoader("processing.report", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["kind"] = lambda block: type(block).__name__
    environment.filters["kept"] = unbreakable
    charts = [block for block in content.blocks() if isinstance(block, Charts)]
    script = page_script()
    return environment.get_template("report.html.j2").render(
        report=content,
        number_of={id(block): number for number, block in enumerate(charts)},
        identity=id,
        tall_mm=TALL_MM,
        style=(HERE / "report.css").read_text(encoding="utf-8"),
        script=script,
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii"),
        data=as_embedded_json(charts_data(charts)),
    )


def page_script() -> str:
    """Return the page's script."""
    return "\n" + "".join((HERE / name).read_text(encoding="utf-8") for name in SCRIPT_FILES)


def as_embedded_json(data: dict[str, Any]) -> str:
    """Return data as JSON that may stand inside a script element: no text of it can end the element."""
    return json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
