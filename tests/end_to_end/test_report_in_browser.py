"""The report in a real browser, from a file, without a network: no fault, zoom and read-off by hand and by keyboard.

How it works: headless Chromium opens a copy of the page into which `drive_the_page.js` was put, and prints the page as
it then is. Where no Chromium is installed these tests are left out.
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from processing.display import NEWTON_PER_GF, Units, measured
from processing.report.content import build_content
from processing.report.html import write_html
from recordings.keys import Key
from tests.processing.keyboards import a_keyboard, recorded

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
BROWSER = next((found for name in BROWSERS if (found := shutil.which(name))), None)
DRIVER = Path(__file__).with_name("drive_the_page.js")
POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')
NUMBERS = range(30, 42)
E3 = Key.from_name("E3")

pytestmark = pytest.mark.skipif(BROWSER is None, reason=f"no browser here: none of {', '.join(BROWSERS)} is installed")


def opened(path: Path) -> subprocess.CompletedProcess[str]:
    """Open a page in a browser of its own and return it as it then is; the console is on stderr."""
    assert BROWSER is not None
    words = [
        BROWSER,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--window-size=1250,900",
    ]
    words += ["--no-first-run", f"--user-data-dir={path.parent / 'profile'}", "--enable-logging=stderr"]
    words += ["--host-resolver-rules=MAP * ~NOTFOUND", "--virtual-time-budget=3000", "--dump-dom", path.as_uri()]
    return subprocess.run(words, capture_output=True, text=True, timeout=240, check=True)


def console(said: subprocess.CompletedProcess[str]) -> list[str]:
    return [line for line in said.stderr.splitlines() if "CONSOLE" in line]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "r.html"
    first = recorded(a_keyboard(NUMBERS, sticky=frozenset({36}), instrument="fern"))
    write_html(build_content([first], Units(), curves_of=(E3,)), path)
    return path


@pytest.fixture(scope="module")
def seen(page: Path) -> dict[str, Any]:
    text = page.read_text(encoding="utf-8")
    driven = page.with_name("driven.html")
    # the page forbids foreign scripts, and this one is foreign: only the copy lets it in
    allowed = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
    open_to_us = f'<meta http-equiv="Content-Security-Policy" content="{allowed}">'
    text = POLICY.sub(open_to_us, text).replace("</body>", f"<script>{DRIVER.read_text()}</script></body>")
    driven.write_text(text, encoding="utf-8")
    found = re.search(r'<pre id="seen">(.*?)</pre>', opened(driven).stdout, re.DOTALL)
    assert found is not None
    told: dict[str, Any] = json.loads(html.unescape(found[1]))
    return told


def test_the_page_opens_without_a_word_on_the_console_and_draws_all_its_pictures(page: Path) -> None:
    said = opened(page)

    assert console(said) == []
    assert said.stdout.count("<svg") > len(NUMBERS) + 10


def test_a_fault_of_the_script_would_be_seen_on_the_console(page: Path) -> None:
    broken = page.with_name("broken.html")
    text = POLICY.sub("", page.read_text(encoding="utf-8"))
    broken.write_text(text.replace("const drawn = []", "const drawn = nothing"), encoding="utf-8")

    assert any("nothing is not defined" in line for line in console(opened(broken)))


def test_nothing_goes_wrong_while_it_is_used_and_nothing_is_fetched(seen: dict[str, Any]) -> None:
    assert seen["faults"] == []
    assert seen["fetched"] == 0
    assert seen["notNumbers"] == 0
    assert seen["empty"] == []
    assert seen["tooWide"] <= 0


def test_pointing_at_a_curve_reads_off_its_place_and_force(seen: dict[str, Any]) -> None:
    found = re.fullmatch(r"down at ([\d.]+) mm: ([\d.]+) gf uncalibrated", seen["curve"])
    curve = next(key.curve for key in a_keyboard(NUMBERS).keys if key.key == E3)
    assert found is not None
    assert curve is not None

    assert float(found[1]) == pytest.approx(5.0, abs=0.005)
    assert float(found[2]) == pytest.approx(curve.down_newton[round(5.0 / curve.step_mm)] / NEWTON_PER_GF, abs=0.02)


def test_pointing_at_a_mark_tells_the_number_with_its_interval(seen: dict[str, Any]) -> None:
    result = next(key for key in a_keyboard(NUMBERS).keys if key.key == E3)
    place, force = (measured(result[name], Units()) for name in ("letoff_peak_position", "letoff_peak_force"))

    assert seen["mark"] == f"E3: let-off peak at {place}, {force} uncalibrated"


def test_the_wheel_zooms_once_the_picture_is_chosen_and_a_double_click_shows_all(seen: dict[str, Any]) -> None:
    assert seen["wheelUnchosen"] == seen["whole"]
    assert seen["wheel"] == pytest.approx([0.8 * size for size in seen["whole"]], rel=0.01)
    assert seen["back"] == seen["whole"]


def test_a_box_zooms_to_what_it_holds_and_shift_moves_it(seen: dict[str, Any]) -> None:
    assert seen["box"] == pytest.approx([4.0, 6.0, 40.0, 60.0], abs=0.05)
    assert seen["moved"][0] < seen["box"][0] - 0.1
    assert seen["moved"][1] - seen["moved"][0] == pytest.approx(2.0, abs=0.05)


def test_the_keyboard_alone_reads_off_changes_the_curve_and_zooms(seen: dict[str, Any]) -> None:
    def place(words: str) -> float:
        return float(re.search(r"at ([\d.]+) mm", words)[1])  # type: ignore[index]

    assert seen["first"].startswith("down at ")
    assert place(seen["further"]) - place(seen["first"]) == pytest.approx(0.1 * seen["whole"][0], abs=0.01)
    assert seen["other"].startswith("up at ")
    assert seen["plus"][0] < seen["whole"][0]
    assert seen["escape"] == seen["zero"] == seen["whole"]
    assert re.fullmatch(r"E3: [\d.]+ ± [\d.]+ gf uncalibrated", seen["dot"])  # the second natural, D3 being the first


def test_a_tile_opens_in_large_and_leads_to_its_neighbour(seen: dict[str, Any]) -> None:
    assert seen["tiles"] == len(NUMBERS)
    assert seen["large"] == [True, "D3", True]
    assert seen["next"] == "D#3"
    assert seen["closed"] is True
    assert seen["reachable"] is True


def test_on_paper_no_column_is_lost_no_number_broken_and_no_title_cut(seen: dict[str, Any]) -> None:
    paper = seen["paper"]

    assert paper["cells"] > 100
    assert (paper["tooWide"], paper["scrolled"]) == (0, 0)
    assert paper["brokenNumbers"] == []
    assert paper["cut"] == []
