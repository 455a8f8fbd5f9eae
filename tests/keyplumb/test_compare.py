"""`keyplumb compare`: two recordings side by side, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from keyplumb.exit_codes import BAD_INPUT, DONE, WRONG_USE
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording, midi
from tests.keyplumb.test_commands import run


def a_file(path: Path, *, keys: range = range(40, 42), down: float = 0.50) -> Path:
    recordings = [a_recording(SyntheticKey(down=down), Press(seed=key), name=Key(key)) for key in keys]
    write_recording(path, a_header(path.stem), recordings)
    return path


def test_what_differs_is_told_in_sentences(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, heavy = a_file(tmp_path / "plain.h5"), a_file(tmp_path / "heavy.h5", down=0.60)

    assert run("compare", plain, heavy, "--table") == DONE

    said = capsys.readouterr()
    assert "heavy needs 10.2" in said.out
    assert "gf uncalibrated more than plain to sink C4 (C#4: 10.196 ± " in said.out
    assert "Where in the travel they differ is not told of 1 natural and 1 sharp in the middle octaves" in said.out
    assert said.out.rstrip().endswith("so a difference may be open although its own interval leaves out 0.")
    assert "all 34 tests of this comparison" in said.out
    assert "plain is uncalibrated" in said.err


def test_a_recording_without_note_events_is_not_told_as_a_keyboard_without_notes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same key twice; in one recording somebody has plugged in the MIDI cable."""
    heard = midi(*[(1.35 + stroke * 5.69, b"\x90\x3c\x40") for stroke in range(3)])
    paths = []
    for name, events in (("heard", heard), ("unheard", None)):
        paths.append(tmp_path / f"{name}.h5")
        write_recording(paths[-1], a_header(name), [a_recording(how=Press(seed=len(paths)), events=events)])

    assert run("compare", *paths, "--json") == DONE

    told = json.loads(capsys.readouterr().out)
    assert "unheard: no note events were recorded, so on how many keys there is a note is not compared" in " ".join(
        told["cautions"]
    )
    assert "note" not in [one["part"] for one in told["pairs"][0]["presence"]]


def test_json_holds_every_number_in_newtons(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, heavy = a_file(tmp_path / "plain.h5"), a_file(tmp_path / "heavy.h5", down=0.60)

    assert run("compare", plain, heavy, "--json") == DONE

    pair = json.loads(capsys.readouterr().out)["pairs"][0]
    found = {one["measurand"]: one for one in pair["differences"]}
    assert found["down_weight"]["difference"]["value"] == pytest.approx(0.1, abs=0.002)
    assert found["down_weight"]["unit"] == "N"
    assert found["down_weight"]["basis"] == "budgets of these keys alone"


def test_margins_of_ones_own_decide_what_is_alike(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, other = a_file(tmp_path / "plain.h5"), a_file(tmp_path / "other.h5", down=0.502)
    margins = tmp_path / "wide.toml"
    margins.write_text('[[margin]]\nmeasurand = "down_weight"\nwithin = 50.0\nunit = "gf"\n', encoding="utf-8")

    assert run("compare", plain, other, "--json", "--margins", margins) == DONE

    told = json.loads(capsys.readouterr().out)
    assert told["margins"]["down_weight"] == pytest.approx(0.4903325)
    assert told["margins"]["key_dip"] == 0.25  # what the file does not name stays as it is built in
    down = next(one for one in told["pairs"][0]["differences"] if one["measurand"] == "down_weight")
    assert down["p_alike"] < 0.05


def test_one_recording_alone_is_wrong_use(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("compare", a_file(tmp_path / "plain.h5")) == WRONG_USE
    assert "two recordings or more" in capsys.readouterr().err


def test_a_recording_is_not_compared_with_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = a_file(tmp_path / "plain.h5", keys=range(40, 41))

    assert run("compare", plain, plain) == BAD_INPUT
    assert "hold the same recording" in capsys.readouterr().err


def test_recordings_without_a_common_key_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    low, high = a_file(tmp_path / "low.h5", keys=range(10, 11)), a_file(tmp_path / "high.h5", keys=range(60, 61))

    assert run("compare", low, high) == BAD_INPUT
    assert "low and high have no measured key in common" in capsys.readouterr().err


def test_a_wrong_file_of_margins_is_told_before_anything_is_measured(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain, heavy = a_file(tmp_path / "plain.h5"), a_file(tmp_path / "heavy.h5", down=0.60)

    assert run("compare", plain, heavy, "--margins", tmp_path / "none.toml") == BAD_INPUT
    assert "none.toml" in capsys.readouterr().err
