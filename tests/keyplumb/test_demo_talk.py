"""The demo's word on its comparison: right only if every planted difference was found and none invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from keyplumb.__main__ import main
from keyplumb.commands.demo_talk import tell_comparison
from processing.display import Units
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.truths import true_features
from tests.processing.comparison.keyboards import renamed, the_scenario


@pytest.fixture(scope="module")
def truths(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """What the rigs of both prototypes write."""
    folder, written = tmp_path_factory.mktemp("truths"), {}
    for name in ("fern", "moss"):
        keys = [
            {"number": key.number, "features": true_features(key), "fault": None}
            for key in keyboard_of(load_scenario(name))
        ]
        written[name] = folder / f"{name}.json"
        written[name].write_text(json.dumps({"keys": keys}), encoding="utf-8")
    return written


def test_planted_differences_that_are_found_are_counted(
    truths: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    results = [the_scenario("fern"), the_scenario("moss")]

    assert tell_comparison(results, [truths["fern"], truths["moss"]], Units())
    said = capsys.readouterr().out
    assert "13 of 13 planted differences found" in said
    assert "0 of them not there in truth" in said


def test_a_difference_that_is_not_there_in_truth_is_named_and_fails(
    truths: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """The truths say that both are the same keyboard."""
    results = [the_scenario("fern"), the_scenario("moss")]

    assert not tell_comparison(results, [truths["fern"], truths["fern"]], Units())
    assert "invented: friction of naturals, middle" in capsys.readouterr().out


def test_planted_differences_that_are_missed_are_named_and_fail(
    truths: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Fern in place of moss: there is nothing to be found, and nothing is invented."""
    results = [the_scenario("fern"), renamed(the_scenario("fern", seed=2), "moss")]

    assert not tell_comparison(results, [truths["fern"], truths["fern"]], Units())
    said = capsys.readouterr().out
    assert "0 of 13 planted differences found" in said
    assert "missed: more friction of naturals, middle" in said
    assert "0 of them not there in truth" in said


def test_a_recording_of_that_name_that_no_demo_made_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "fern.h5").write_text("weeks of work")

    assert main(["demo", "--out", str(tmp_path), "--keys", "C4"]) == 3
    assert "it is of no earlier demo" in capsys.readouterr().err
    assert (tmp_path / "fern.h5").read_text() == "weeks of work"
