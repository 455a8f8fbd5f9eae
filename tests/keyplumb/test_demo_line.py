"""The demo of a line, on a small one: what is planted is found, and what is not there is not."""

from __future__ import annotations

import html
import json
import re
import shlex
import shutil
from pathlib import Path

import pytest

from keyplumb.__main__ import main
from keyplumb.exit_codes import BAD_INPUT, FAILED
from keyplumb.line.truth_check import LineCheck, check_line
from keyplumb.line.work import Places, chart, inspect, learn, record_line
from processing.display import Units
from processing.limits.verdict import UnitVerdict
from processing.trend.line import Line as Charted
from processing.unit_store import UnitStore
from rig.virtual.line_of_units import BadKey, Line, LineEvent, load_line

SMALL = load_line("moss").model_copy(
    update={
        "units": 20,
        "keys": (40, 42, 44, 45, 47),
        "reference_units": 15,
        "events": (
            LineEvent(
                kind="step",
                why="a test",
                quantity="letoff_crest_mm",
                from_unit=17,
                to_unit=20,
                amount=-0.3,
            ),
        ),
        "bad_keys": (BadKey(unit=16, key=42, kind="sticky"),),
    }
)
Made = tuple[Places, Charted, list[UnitVerdict]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    places = Places(tmp_path_factory.mktemp("line"))
    places.units.mkdir()
    record_line(SMALL, places, 2)
    learn(SMALL, places, 2, Units())
    verdicts = inspect(SMALL, places, 2)
    return places, chart(SMALL, places), verdicts


def checked(made: Made, **changes: object) -> LineCheck:
    """Hold the line against truths in which something is otherwise."""
    places, charted, verdicts = made
    told = json.loads(places.truths.read_text())
    told["line"] |= changes
    altered = places.folder / "altered.json"
    altered.write_text(json.dumps(told))
    return check_line(altered, charted, verdicts)


def test_what_was_planted_is_found_and_nothing_else(made: Made) -> None:
    check = checked(made)

    assert check.right
    (event,) = check.events
    assert {news.measurand for news in event.news} == {"letoff_peak_position"}
    surest = event.surest()
    assert surest is not None
    assert surest.event is not None
    assert made[1].units.labels[surest.event.first] == "moss-017"
    assert [bad.failed for bad in check.bad_keys] == [True]
    assert sum(check.verdicts.values()) == SMALL.units
    assert check.verdicts[False, "fail"] >= 3
    assert check.verdicts[True, "pass"] >= 12


def test_an_event_that_charts_do_not_tell_is_missed_and_what_they_tell_is_a_false_alarm(made: Made) -> None:
    event = SMALL.events[0].model_dump() | {"quantity": "friction_newton", "kind": "drift"}

    check = checked(made, events=[event])

    assert not check.right
    assert check.events[0].news == ()
    assert [news.measurand for news in check.false_alarms] == ["letoff_peak_position"]


def test_a_bad_key_that_passes_is_overlooked(made: Made) -> None:
    check = checked(made, bad_keys=[{"unit": 2, "key": 40, "kind": "sticky"}])

    assert not check.right
    assert [bad.failed for bad in check.bad_keys] == [False]


def test_every_unit_is_in_the_store_with_its_verdict(made: Made) -> None:
    places, _, verdicts = made
    units = UnitStore(places.store).units("moss")

    assert units["serial"].tolist() == [f"moss-{number:03}" for number in range(1, SMALL.units + 1)]
    assert units["outcome"].tolist() == [verdict.outcome for verdict in verdicts]
    assert set(units["calibration"]) == {"calibrated"}


def test_the_command_tells_what_it_found_against_the_truth(
    made: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    places, charted, verdicts = made

    def done_before(_: Line, there: Places, __: int | None) -> list[UnitVerdict]:
        shutil.copytree(places.folder, there.folder, dirs_exist_ok=True)
        return verdicts

    monkeypatch.setattr("rig.virtual.line_of_units.load_line", lambda _: SMALL)
    for step in ("record_line", "learn"):
        monkeypatch.setattr(f"keyplumb.line.work.{step}", lambda *_: None)
    monkeypatch.setattr("keyplumb.line.work.inspect", done_before)
    monkeypatch.setattr("keyplumb.line.work.chart", lambda *_: charted)

    assert main(["demo-line", "--out", str(tmp_path / "line")]) == 0
    said = capsys.readouterr().out
    for words in (
        "1 of 1 events found",
        "found in Let-off, place of the peak: since moss-017",
        "the truth lies inside",
        "0 false alarms",
        "Single bad keys: 1 of 1 failed",
        "moss-016, D4, sticky: failed",
        "5 of 100 such families show any signal",
    ):
        assert words in said
    page = html.unescape((tmp_path / "line/trend/trend.html").read_text())
    again = re.search(r"keyplumb (trend .*) \(keyplumb ", page)
    assert again is not None
    assert main(shlex.split(again.group(1))) == FAILED


def test_what_is_of_no_earlier_demo_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "units").mkdir()

    assert main(["demo-line", "--out", str(tmp_path)]) == 3
    assert "of no earlier demo" in capsys.readouterr().err
    assert (tmp_path / "units").is_dir()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"reference_units": 3}, "moss: reference_units = 3: charts freeze their limits from 15 at least"),
        (
            {"units": 15, "events": (), "bad_keys": ()},
            "moss: units = 15, and the first 15 of them are the reference: none is left",
        ),
        ({"keys": (40, 41, 42, 43)}, "moss: keys: 2 naturals and 2 sharps teach no limits; name 5 keys"),
    ],
)
def test_a_line_that_could_not_be_charted_is_refused_before_any_work(
    changes: dict[str, object],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("rig.virtual.line_of_units.load_line", lambda _: SMALL.model_copy(update=changes))

    assert main(["demo-line", "--out", str(tmp_path / "line")]) == BAD_INPUT
    assert words in capsys.readouterr().err
    assert not (tmp_path / "line").exists()
