"""The public API, as a notebook user meets it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.figure import Figure

import keyplumb
from recordings.calibration_file import write_calibration
from recordings.calibration_record import ForceCalibration
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import WHOLE_RECORD, SyntheticKey, a_header, a_polynomial, a_recording


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("api") / "r.h5"
    write_recording(path, a_header(), [a_recording(name=Key(number)) for number in (40, 41, 42)])
    return path


def test_a_recording_opens_and_measures_from_file_or_memory(path: Path) -> None:
    in_memory = keyplumb.measure(keyplumb.open(path))
    from_file = keyplumb.measure(path)

    assert in_memory.keys["C4"].values == from_file.keys["C4"].values
    assert from_file.keys["C4"].values["down_weight"] == pytest.approx(SyntheticKey().down, abs=0.001)


def test_tables_have_units_in_their_names_and_reasons_beside_what_is_missing(path: Path) -> None:
    measured = keyplumb.measure(path)
    wide, tidy = measured.table(), measured.tidy()

    assert list(wide.index) == ["C4", "C#4", "D4"]
    assert wide.loc["C4", "down_weight_N"] == pytest.approx(SyntheticKey().down, abs=0.001)
    assert "letoff_slope_N_per_mm" in wide.columns
    missing = tidy[tidy["value"].isna()]
    assert (missing["reason"] != "").all()


def test_a_later_record_gives_the_numbers_anew_from_file_or_memory(path: Path, tmp_path: Path) -> None:
    force = ForceCalibration(polynomial=a_polynomial(0.0, 1.01e-6))
    record = replace(WHOLE_RECORD, force=force)
    write_calibration(tmp_path / "c.json", record)
    first = keyplumb.measure(path).keys["C4"].values["down_weight"]
    again = [
        keyplumb.measure(path, calibration=which) for which in (record, tmp_path / "c.json", str(tmp_path / "c.json"))
    ]
    again.append(keyplumb.measure(keyplumb.open(path), calibration=record))

    assert first is not None
    for measured in again:
        assert measured.keys["C4"].values["down_weight"] == pytest.approx(1.01 * first, rel=1e-4)
        assert measured.keys["C4"].plot().get_ylabel() == "force (gf)"
    assert keyplumb.measure(path).keys["C4"].plot().get_ylabel() == "force (gf uncalibrated)"


def test_a_key_draws_itself_on_axes_of_its_own_or_on_mine(path: Path) -> None:
    key = keyplumb.measure(path).keys["C4"]
    mine = Figure().add_subplot()

    assert key.plot(mine) is mine
    assert key.plot(units="N,mm").get_ylabel() == "force (N uncalibrated)"
    assert len(mine.lines) >= 4


def test_the_view_is_what_the_command_prints(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import json

    from keyplumb.__main__ import main

    main(["measure", str(path), "--json"])
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(keyplumb.measure(path).view()))


def test_odd_keys_come_with_words(path: Path) -> None:
    assert keyplumb.measure(path).odd_keys() == {}


def test_what_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'sing'"):
        keyplumb.sing  # noqa: B018
