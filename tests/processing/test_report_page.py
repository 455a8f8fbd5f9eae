"""The report as HTML: whole in one file, small enough, the same each time, and open to the keyboard."""

from __future__ import annotations

import base64
import hashlib
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from processing.display import Units
from processing.report.chart_data import charts_data
from processing.report.charts import Axis, Charts, Line, Panel
from processing.report.content import build_content
from processing.report.html import as_html
from processing.report.style import MOST_RECORDINGS
from tests.processing.keyboards import a_keyboard, recorded

ROOT = Path(__file__).parents[2]
STICKY = frozenset({42})
LARGEST_BYTES = 8_000_000


@pytest.fixture(scope="module")
def page() -> str:
    return as_html(build_content([recorded(a_keyboard(range(36, 49), sticky=STICKY))], Units()))


class Elements(HTMLParser):
    """Every element of a page with its attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_every_element_is_closed_in_its_place(page: str) -> None:
    assert Elements(page).open == []


def test_nothing_of_the_page_comes_from_elsewhere(page: str) -> None:
    for tag, attributes in Elements(page).found:
        assert tag not in ("link", "img", "iframe", "object")
        assert "src" not in attributes
        assert (attributes.get("href") or "#").startswith("#")
    outside = set(re.findall(r"https?://[^\"'\s<)]+", page))

    assert outside == {"http://www.w3.org/2000/svg"}  # the name of a namespace, never fetched


def test_the_page_forbids_every_fetch_and_every_script_but_its_own(page: str) -> None:
    policy = next(a["content"] or "" for tag, a in Elements(page).found if a.get("http-equiv"))
    script = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)

    assert "default-src 'none'" in policy
    assert len(script) == 1
    assert base64.b64encode(hashlib.sha256(script[0].encode()).digest()).decode() in policy


def test_names_are_written_safely_into_the_page() -> None:
    page = as_html(build_content([recorded(a_keyboard((40,), instrument="</script><bench & test>"))], Units()))

    assert "<bench" not in page
    assert "&lt;bench &amp; test&gt;" in page
    assert Elements(page).open == []


def test_every_picture_is_described_and_every_table_and_tile_can_be_reached_by_keyboard(page: str) -> None:
    elements = Elements(page).found
    wide = [attributes for _, attributes in elements if attributes.get("class") == "wide"]

    assert all(attributes.get("tabindex") == "0" and attributes.get("aria-label") for attributes in wide)
    assert ("html", {"lang": "en"}) in elements
    assert any(a.get("class") == "skip" for _, a in elements)
    assert sum(tag == "figure" for tag, _ in elements) == sum(tag == "figcaption" for tag, _ in elements) > 6
    assert all(a.get("scope") for tag, a in elements if tag == "th")
    assert any(tag == "noscript" for tag, _ in elements)


def test_every_section_is_in_the_contents(page: str) -> None:
    elements = Elements(page).found
    sections = {attributes["id"] for tag, attributes in elements if tag == "section"}

    assert len(sections) > 8
    assert sections <= {(attributes.get("href") or "")[1:] for tag, attributes in elements if tag == "a"}


def test_as_many_keyboards_as_fit_stay_under_eight_megabytes() -> None:
    many = [recorded(a_keyboard(sticky=STICKY, instrument=f"unit {n}"), f"{n}.h5") for n in range(MOST_RECORDINGS)]

    assert len(as_html(build_content(many, Units())).encode()) < LARGEST_BYTES


def test_long_arrays_come_back_from_the_page_as_they_were_but_for_a_step() -> None:
    wave = 50.0 * np.sin(np.linspace(0.0, 20.0, 1000))
    axis = Axis(label="", unit="", low=0.0, high=1.0, decimals=1)
    line = Line(label="", look="down", x=np.linspace(0.0, 9.99, 1000), y=wave)
    panel = Panel(title="", x=axis, y=axis, lines=(line, Line(label="", look="up", x=line.x, y=wave.copy())))
    data = charts_data([Charts(caption="", panels=(panel,), columns=1, height_mm=1.0)])
    even, packed = data["pool"]
    steps = np.frombuffer(base64.b64decode(packed["steps"]), "<u2")

    assert (even["from"], even["to"], even["count"]) == (0.0, 9.99, 1000)
    assert packed["low"] + (packed["high"] - packed["low"]) / 65534 * steps == pytest.approx(wave, abs=100.0 / 65534)
    assert [one["y"] for one in data["charts"][0]["panels"][0]["lines"]] == [1, 1]  # equal arrays once


def test_a_curve_is_read_off_with_the_decimals_that_its_band_deserves() -> None:
    axis = Axis(label="", unit="gf", low=0.0, high=1.0, decimals=2)
    sure = np.arange(20.0)
    lines = tuple(
        Line(label="", look="down", x=sure, y=sure, band=np.full(20, half)) for half in (0.004, 0.06, 0.3, 2.0)
    )
    panel = Panel(title="", x=axis, y=axis, lines=lines)
    data = charts_data([Charts(caption="", panels=(panel,), columns=1, height_mm=1.0)])

    # the last digit shown is between a tenth and half of the uncertainty: JCGM 100, 7.2.6, one or two digits of it
    decimals = [line["decimals"] for line in data["charts"][0]["panels"][0]["lines"]]
    assert decimals == [4, 2, 2, 1]


TWICE = """
import sys
from pathlib import Path
from processing.display import Units
from processing.report.write import write_report
from tests.processing.keyboards import a_keyboard, recorded
write_report([recorded(a_keyboard(range(36, 42)))], Path(sys.argv[1]), Units())
"""


def test_the_same_recording_gives_the_same_bytes_in_another_process(tmp_path: Path) -> None:
    for name, seed in (("a", "1"), ("b", "2")):  # sets of words come in another order with another seed
        subprocess.run(
            [sys.executable, "-c", TWICE, str(tmp_path / name)], cwd=ROOT, check=True, env={"PYTHONHASHSEED": seed}
        )

    for end in ("html", "pdf"):
        assert (tmp_path / f"a.{end}").read_bytes() == (tmp_path / f"b.{end}").read_bytes()
