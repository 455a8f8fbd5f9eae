"""`keyplumb trend` from the store to exit codes, sentences, JSON, page and pictures."""

from __future__ import annotations

import html
import json
import re
import shlex
from pathlib import Path

import pytest

from keyplumb.__main__ import build_parser, main
from keyplumb.commands.trend import _again
from keyplumb.exit_codes import BAD_INPUT, CANNOT_TELL, DONE, FAILED
from processing.display import Units
from processing.report.html import as_html
from processing.trend.line import watch_line
from processing.trend.page import Told, build_page
from processing.unit_store import UnitStore
from tests.processing.trend.lines import a_line, step

LIMITS = """
name = "moss, a test"
[[limit]]
measurand = "key_dip"
unit = "mm"
lower = 9.5
upper = 11.0
"""


@pytest.fixture(scope="module")
def stepped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    why = {unit: ["key_dip"] for unit in range(70, 90)} | {unit: ["friction"] for unit in range(5)}
    return a_line(tmp_path_factory.mktemp("stepped") / "units", 100, planted={"key_dip": step(70, 0.05)}, reasons=why)


def test_a_step_is_told_and_ends_with_fail(stepped: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["trend", str(stepped), "--measurand", "key_dip,friction"])

    said = capsys.readouterr()
    assert code == FAILED
    assert said.out.startswith("Key dip (all keys): steps up at moss-071 by 0.05 mm")
    assert said.out.splitlines()[-3:] == [
        "Why 25 units did not pass, the most frequent reason first; a unit may have several:",
        "  Key dip: 20 units.",
        "  Friction: 5 units; 25 of the 25 have this reason or one above.",
    ]
    assert "limits are frozen from the first 30 (moss-001 to moss-030)" in said.err


def test_what_does_not_change_ends_with_done(stepped: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trend", str(stepped), "--measurand", "friction"]) == DONE
    assert capsys.readouterr().out.startswith("Nothing has changed")


def test_too_few_units_cannot_be_told(stepped: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trend", str(stepped), "--baseline", "100"]) == CANNOT_TELL
    assert "too few units for limits: 100 of moss" in capsys.readouterr().err


def test_measurands_that_no_unit_has_cannot_be_told(stepped: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trend", str(stepped), "--measurand", "letoff_drop"]) == CANNOT_TELL
    said = capsys.readouterr()
    assert "Let-off, drop is not charted" in said.err
    assert "Nothing has changed" not in said.out


@pytest.mark.parametrize("make", [False, True], ids=["absent", "empty"])
def test_a_store_without_units_says_how_they_come_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], make: bool
) -> None:
    if make:
        (tmp_path / "units").mkdir()

    assert main(["trend", str(tmp_path / "units")]) == BAD_INPUT
    assert "keyplumb inspect UNIT.h5 --limits L.toml --store" in capsys.readouterr().err


def test_a_model_that_is_not_there_is_told_with_those_that_are(
    stepped: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["trend", str(stepped), "--model", "fern"]) == BAD_INPUT
    assert "holds no unit of 'fern'; choose with --model one of moss" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["--baseline", "many"], ["--measurand", "feel"]])
def test_words_that_mean_nothing_are_wrong_use(
    stepped: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["trend", str(stepped), *words])
    assert words[1] in capsys.readouterr().err


def test_a_damaged_file_in_the_store_is_named_and_nothing_crashes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = a_line(tmp_path / "units", 40)
    (store / "model=moss" / "half.parquet").write_bytes(b"PAR1")

    assert main(["trend", str(store), "--measurand", "friction"]) == DONE
    assert "half.parquet is left out: damaged" in capsys.readouterr().err


def test_json_holds_events_series_capability_and_reasons(
    stepped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "limits.toml").write_text(LIMITS)

    main(["trend", str(stepped), "--measurand", "key_dip", "--limits", str(tmp_path / "limits.toml"), "--json"])

    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "keyplumb.trend/1"
    assert told["in_control"] is False
    assert told["news"][0]["events"][0]["first"] == "moss-071"
    assert told["news"][0]["events"][0]["size"] == pytest.approx(0.05, abs=0.01)
    assert len(told["units"]) == len(told["series"][0]["values"]) == 100
    assert {one["in_control"] for one in told["capability"]} == {False}
    assert [row["reason"] for row in told["reasons"]] == ["key_dip", "friction"]


def test_the_page_has_news_charts_capability_and_reasons(
    stepped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "limits.toml").write_text(LIMITS)

    main(["trend", str(stepped), "--measurand", "key_dip", "--limits", str(tmp_path / "limits.toml"), "--out",
          str(tmp_path / "out")])  # fmt: skip

    page = (tmp_path / "out/trend.html").read_text()
    for part in (
        "steps up at moss-071", "Is the process good enough", "Against moss, a test", "Worst key",
        "Why units were not passed", "100 units were judged: 75 pass, 25 fail", "six in a row rising",
    ):  # fmt: skip
        assert part in page, part
    written = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert [name for name in written if "-" not in name] == ["key_dip.png", "reasons.png", "trend.html", "trend.pdf"]
    assert len([name for name in written if name.startswith("key_dip-")]) == 1
    assert str(tmp_path / "out/trend.html") in capsys.readouterr().out


def test_the_same_store_gives_the_same_page(stepped: Path) -> None:
    told = [
        Told(watch_line(UnitStore(stepped), "moss", measurands=("key_dip",)), (), (), None, "a test") for _ in range(2)
    ]

    first, second = (as_html(build_page(one, Units())) for one in told)

    assert first == second


def test_limits_of_another_model_are_refused_before_anything_is_charted(
    stepped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    limits = tmp_path / "fern.toml"
    limits.write_text(LIMITS.replace("[[limit]]", '[expected]\ninstrument = "fern"\n[[limit]]'))

    assert main(["trend", str(stepped), "--limits", str(limits)]) == BAD_INPUT
    said = capsys.readouterr()
    assert "fern.toml: these limits are for fern ([expected] instrument), the units are of moss" in said.err
    assert said.out == ""


def test_a_baseline_that_ends_before_it_begins_is_refused(stepped: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trend", str(stepped), "--baseline", "moss-040..moss-001"]) == BAD_INPUT
    assert "say --baseline moss-001..moss-040 if you mean all between them" in capsys.readouterr().err


@pytest.mark.parametrize("baseline", ["40", "moss-003..moss-040"])
def test_the_command_on_the_page_makes_the_page_again(
    stepped: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, baseline: str
) -> None:
    main(["trend", str(stepped), "--measurand", "friction", "--baseline", baseline, "--out", str(tmp_path / "out")])
    page = (tmp_path / "out/trend.html").read_bytes()
    said = re.search(r"keyplumb (trend .*) \(keyplumb ", html.unescape(page.decode()))
    assert said is not None
    monkeypatch.chdir(stepped.parent)

    assert main(shlex.split(said.group(1))) == DONE

    assert Path("out/trend.html").read_bytes() == page


def test_the_command_names_the_folders_where_they_were_dots(stepped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(stepped)

    again = _again(build_parser().parse_args(["trend", ".", "--out", "../here"]))

    assert (again.store, again.out) == (stepped.name, "here")


@pytest.mark.parametrize("name", ["trend.html", "trend.pdf", "key_dip.png"])
def test_nothing_but_its_own_pages_is_replaced(
    name: str, stepped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_text("notes\n")

    code = main(["trend", str(stepped), "--measurand", "key_dip", "--out", str(tmp_path)])
    assert (code, "left alone" in capsys.readouterr().err) == (BAD_INPUT, True)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "notes\n"
