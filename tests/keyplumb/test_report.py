"""`keyplumb report`: where it may write, and what it refuses before anything is measured."""

from __future__ import annotations

from pathlib import Path

import pytest

from processing.report import write
from tests.keyplumb.test_commands import a_file, run


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_only_a_report_is_replaced_by_a_report(ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recording, theirs = a_file(tmp_path / "r.h5"), tmp_path / f"mine.{ending}"
    theirs.write_text("notes\n")

    assert run("report", recording, "--out", tmp_path / "mine") == 3
    assert "left alone; it is nothing that `report` or `trend` wrote" in capsys.readouterr().err
    assert theirs.read_text() == "notes\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == [f"mine.{ending}", "r.h5"]


def test_an_older_report_is_replaced(tmp_path: Path) -> None:
    recording = a_file(tmp_path / "r.h5")

    assert run("report", recording) == 0
    assert run("report", recording, "--units", "N,mm") == 0
    assert "--units N,mm" in (tmp_path / "r.html").read_text()


def test_a_folder_in_the_way_is_named_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recording = a_file(tmp_path / "r.h5")
    (tmp_path / "blocked.pdf").mkdir()

    assert run("report", recording, "--out", tmp_path / "blocked") == 3
    assert f"{tmp_path / 'blocked.pdf'} cannot be written (it is a folder)" in capsys.readouterr().err
    assert not (tmp_path / "blocked.html").exists()


def test_a_place_is_refused_before_a_recording_is_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "words.h5").write_text("no recording")

    assert run("report", tmp_path / "words.h5", "--out", tmp_path / "no" / "where") == 3
    assert "no: no such folder; make it first" in capsys.readouterr().err


@pytest.mark.parametrize("named", ["x.html", "x.pdf", "x"])
def test_a_name_with_its_ending_is_the_name_without(named: str, tmp_path: Path) -> None:
    assert run("report", a_file(tmp_path / "r.h5"), "--out", tmp_path / named) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.h5", "x.html", "x.pdf"]


def test_where_one_file_cannot_be_written_neither_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write, "write_pdf", full)

    assert run("report", a_file(tmp_path / "r.h5")) == 3
    assert [path.name for path in tmp_path.iterdir()] == ["r.h5"]


def test_a_recording_given_twice_is_refused_whatever_its_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recording = a_file(tmp_path / "r.h5")
    again = tmp_path / "copy.h5"
    again.write_bytes(recording.read_bytes())

    assert run("report", recording, again) == 3
    assert f"{recording} and {again} hold the same recording" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["copy.h5", "r.h5"]


def test_a_report_holds_recordings_against_the_margins_given_as_compare_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recordings = [a_file(tmp_path / f"{day}.h5", keys=12, day=day) for day in range(2)]
    (tmp_path / "wide.toml").write_text('[[margin]]\nmeasurand = "key_dip"\nwithin = 2.5\nunit = "mm"\n')

    assert run("report", *recordings, "--margins", tmp_path / "wide.toml", "--out", tmp_path / "r") == 0
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "--margins wide.toml" in page
    assert '<th scope="row">key_dip</th><td>2.5</td>' in page
    capsys.readouterr()
    assert run("compare", *recordings, "--margins", tmp_path / "wide.toml", "--table") == 0
    dip = next(row for row in capsys.readouterr().out.splitlines() if row.startswith("Key dip"))
    assert dip.split()[-1] in page


def test_margins_of_one_recording_are_wrong_use(tmp_path: Path) -> None:
    (tmp_path / "wide.toml").write_text('[[margin]]\nmeasurand = "key_dip"\nwithin = 2.5\nunit = "mm"\n')

    assert run("report", a_file(tmp_path / "r.h5"), "--margins", tmp_path / "wide.toml") == 2


def test_of_one_key_nobody_speaks_of_medians_or_typical_ones(tmp_path: Path) -> None:
    assert run("report", a_file(tmp_path / "r.h5")) == 0
    first = (tmp_path / "r.html").read_text(encoding="utf-8").split("<h2>")[1]

    assert "1 of 1 key measured, 3 strokes in all" in first
    assert "A down weight is known to" in first
    assert [word for word in ("median", "ypical", "1 keys") if word in first] == []
