"""Check keys in notebooks and in exported tables: the same numbers as at the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

import keyplumb
from keyplumb.__main__ import main
from processing.errors import ForeignChecks, SameRecording
from recordings.reader import read_recording
from tests.keyplumb.test_checks import recorded

MINUTES = (20.0, 0.0, 40.0, 60.0)


@pytest.fixture(scope="module")
def sitting(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """A keyboard of two keys, and three recordings of them as checks."""
    folder = tmp_path_factory.mktemp("sitting")
    return [recorded(folder / f"{minutes:g}.h5", minutes) for minutes in MINUTES]


def by_command(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[dict[str, object], str]:
    assert main([str(word) for word in words]) == 0
    said = capsys.readouterr()
    return json.loads(said.out), said.err


def test_a_notebook_measures_with_checks_as_the_command_does(
    sitting: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    own, *checks = sitting
    view, said = by_command(capsys, "measure", own, "--checks", *checks, "--json")

    measured = keyplumb.measure(own, checks=checks)

    assert measured.view() == view
    assert [f"keyplumb: {sentence}" for sentence in measured.drift_sentences()] == said.splitlines()


def test_what_was_opened_or_measured_or_is_in_no_file_does_as_well(sitting: list[Path]) -> None:
    own, *checks = sitting
    by_files = keyplumb.measure(own, checks=checks)
    opened = [keyplumb.open(checks[0]), keyplumb.measure(checks[1]), checks[2]]

    assert keyplumb.measure(read_recording(own), checks=opened).view() == by_files.view()
    assert keyplumb.measure(keyplumb.open(own), checks=opened).view() == by_files.view()


def test_a_notebook_compares_with_checks_as_the_command_does(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own, *checks = sitting
    other = recorded(tmp_path / "moss.h5", 10.0, instrument="moss")
    view, said = by_command(capsys, "compare", own, other, "--checks", *checks, "--json")

    both = keyplumb.compare(own, other, checks=checks)

    assert both.view() == view
    assert both.sittings[0] is not None
    assert both.sittings[1] is None
    assert all(f"keyplumb: {sentence}" in said for sentence in both.drift_sentences())
    assert both.view() != keyplumb.compare(own, other).view()


def test_checks_of_another_keyboard_and_a_recording_as_its_own_check_are_refused(
    sitting: list[Path], tmp_path: Path
) -> None:
    other = recorded(tmp_path / "moss.h5", 10.0, instrument="moss")

    with pytest.raises(ForeignChecks, match="it is of moss, which is not among the keyboards: fern"):
        keyplumb.measure(sitting[0], checks=[other])
    with pytest.raises(SameRecording):
        keyplumb.measure(sitting[0], checks=[*sitting[1:], sitting[0]])
    with pytest.raises(SameRecording):
        keyplumb.compare(sitting[0], other, checks=[sitting[1], sitting[1]])


@pytest.mark.parametrize("table", ["keys", "numbers", "curves"])
def test_an_exported_table_is_without_the_drift(table: str, sitting: list[Path], tmp_path: Path) -> None:
    own, *checks = map(str, sitting)
    for name, words in (("with", ["--checks", *checks]), ("without", [])):
        assert main(["export", own, "--to", str(tmp_path / f"{name}.csv"), "--table", table, *words]) == 0
    with_checks, without = (pd.read_csv(tmp_path / f"{name}.csv") for name in ("with", "without"))
    measured = keyplumb.measure(own, checks=checks)

    assert with_checks.shape == without.shape
    assert not with_checks.equals(without)
    if table == "keys":
        in_code = measured.frame()["down_weight_N"].astype(float)
        assert with_checks["down_weight_N"].tolist() == pytest.approx(in_code.tolist())
    if table == "curves":
        assert with_checks["down_N"].tolist() == pytest.approx(measured.curves()["down_N"].tolist())


def test_the_budget_of_a_number_is_that_without_the_drift(
    sitting: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    own, *checks = sitting
    budget, _ = by_command(capsys, "measure", own, "--checks", *checks, "--budget", "C4:down_weight", "--json")
    number = keyplumb.measure(own, checks=checks).keys["C4"]["down_weight"]

    assert budget["value"] == number.value
    assert "drift over the sitting" in json.dumps(budget)


def test_a_check_of_another_day_is_refused(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = recorded(tmp_path / "old.h5", 3000.0)

    assert main(["measure", str(sitting[0]), "--checks", str(old), *map(str, sitting[1:])]) == 3
    assert "old.h5: it was recorded 2.1 days from the keyboard" in capsys.readouterr().err


def test_of_some_keys_the_drift_is_still_that_of_the_whole_sitting(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own, *checks = sitting
    whole, said = by_command(capsys, "measure", own, "--checks", *checks, "--json")
    some, said_of_some = by_command(capsys, "measure", own, "--checks", *checks, "--keys", "A4", "--json")
    assert (
        main(["export", str(own), "--checks", *map(str, checks), "--keys", "A4", "--to", str(tmp_path / "a.csv")]) == 0
    )

    assert said_of_some == said
    assert some["keys"] == [key for key in whole["keys"] if key["key"] == "A4"]  # type: ignore[attr-defined,index]
    assert pd.read_csv(tmp_path / "a.csv")["key"].tolist() == ["A4"]


def test_strokes_and_samples_keep_their_drift_and_say_so(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for table in ("strokes", "samples"):
        with pytest.raises(SystemExit):
            main(["export", str(sitting[0]), "--to", str(tmp_path / "x.csv"), "--table", table, "--checks", "a.h5"])
        assert f"{table} keep it: leave --checks" in capsys.readouterr().err
    assert not (tmp_path / "x.csv").exists()
