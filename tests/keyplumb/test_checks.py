"""Check keys at the command line: to which keyboard they belong, and what is said of drift."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from pathlib import Path

import pytest

from keyplumb.__main__ import main
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording

NEWTON_AN_HOUR = 0.04
C4, A4 = Key(40), Key(49)


def recorded(
    path: Path, minutes: float, *, drifts: bool = True, instrument: str = "fern", serial: str | None = None
) -> Path:
    """Two keys, recorded at some time of the sitting; their weight grows by the hour."""
    header = a_header(instrument)
    run = replace(header.run, started_at=header.run.started_at + timedelta(minutes=minutes), serial=serial)
    down = 0.5 + (NEWTON_AN_HOUR * minutes / 60.0 if drifts else 0.0)
    keys = [
        a_recording(SyntheticKey(down=down), Press(strokes=2, seed=round(7 * minutes)), name=key) for key in (C4, A4)
    ]
    write_recording(path, replace(header, run=run), keys)
    return path


@pytest.fixture(scope="module")
def sitting(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("sitting")
    return [recorded(folder / f"{minutes}.h5", minutes) for minutes in (20, 0, 40, 60)]


def test_a_drift_is_told_and_taken_out(sitting: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", str(sitting[0]), "--checks", *map(str, sitting[1:]), "--csv"]) == 0
    said = capsys.readouterr()

    assert "by check keys C4, A4, measured 8 times" in said.err
    assert "own weight drifted by 4.084 ± 0.040 gf an hour" in said.err  # 0.04 N an hour
    assert "C4,40,natural,down_weight" in said.out


def test_a_report_is_without_the_drift_and_says_what_it_was_and_from_which_files(
    sitting: list[Path], tmp_path: Path
) -> None:
    checks = [str(path) for path in sitting[1:]]
    assert main(["report", str(sitting[0]), "--checks", *checks, "--out", str(tmp_path / "with")]) == 0
    assert main(["report", str(sitting[0]), "--out", str(tmp_path / "without")]) == 0
    told, plain = ((tmp_path / f"{name}.html").read_text(encoding="utf-8") for name in ("with", "without"))

    assert "own weight drifted by 4.08" in told
    assert "--checks 0.h5 40.h5 60.h5" in told
    assert sha256(sitting[1].read_bytes()).hexdigest() in told
    assert "is taken out of every key" in told
    assert "is taken out of every key" not in plain


def test_of_one_keyboard_recorded_twice_the_nearer_sitting_has_the_checks(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    later = recorded(tmp_path / "later.h5", 3000.0, drifts=False)

    assert main(["compare", str(sitting[0]), str(later), "--checks", *map(str, sitting[1:])]) == 0
    said = capsys.readouterr().err

    assert said.count("by check keys C4, A4, measured 8 times") == 1


def test_checks_of_another_keyboard_are_refused(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = recorded(tmp_path / "moss.h5", 10.0, instrument="moss")

    assert main(["measure", str(sitting[0]), "--checks", str(other)]) == 3
    assert "moss.h5: it is of moss, which is not among the keyboards: fern" in capsys.readouterr().err


def test_checks_of_another_unit_are_refused_with_both_serial_numbers(
    sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = recorded(tmp_path / "other.h5", 10.0, serial="fern-002")

    assert main(["measure", str(sitting[0]), "--checks", str(other)]) == 3
    said = capsys.readouterr().err
    assert "it is of fern (serial number fern-002), which is not among the keyboards: fern (no serial number)" in said


@pytest.mark.parametrize("command", ["measure", "report", "compare"])
def test_a_recording_is_not_its_own_check(
    command: str, sitting: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.h5"
    copy.write_bytes(sitting[0].read_bytes())
    keyboards = [str(path) for path in (sitting[0], sitting[3])[: 2 if command == "compare" else 1]]

    assert main([command, *keyboards, "--checks", str(sitting[1]), str(copy)]) == 3
    assert f"{sitting[0]} and {copy} hold the same recording" in capsys.readouterr().err


def test_a_check_does_not_count_twice(sitting: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", str(sitting[0]), "--checks", *map(str, (*sitting[1:], sitting[1]))]) == 3
    assert "hold the same recording" in capsys.readouterr().err
