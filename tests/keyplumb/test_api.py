"""The public API, as a notebook user meets it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib import pyplot
from matplotlib.figure import Figure

import keyplumb
from keyplumb.compared import Compared
from processing.comparison.compare import compare_keyboards
from processing.errors import SameRecording
from recordings.calibration_file import write_calibration
from recordings.calibration_record import ForceCalibration
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import WHOLE_RECORD, Press, SyntheticKey, a_header, a_polynomial, a_recording
from tests.processing.comparison.keyboards import the_scenario


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("api") / "r.h5"
    write_recording(path, a_header(), [a_recording(name=Key(number)) for number in (40, 41, 42)])
    return path


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An octave of fern, and of moss that takes 0.1 N more going down."""
    folder = tmp_path_factory.mktemp("two")
    for name, down in (("fern", 0.50), ("moss", 0.60)):
        keys = [a_recording(SyntheticKey(down=down), Press(seed=key), name=Key(key)) for key in range(40, 52)]
        write_recording(folder / f"{name}.h5", a_header(name), keys)
    return folder / "fern.h5", folder / "moss.h5"


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
    pyplot.close("all")


def test_the_view_is_what_the_command_prints(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import json

    from keyplumb.__main__ import main

    main(["measure", str(path), "--json"])
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(keyplumb.measure(path).view()))


def test_what_is_opened_is_raw_counts_header_and_numbers_in_one(path: Path) -> None:
    recording = keyplumb.open(path)

    assert recording.header.run.instrument == "a test"
    assert recording.complete
    assert [key.key.name for key in recording.raw.keys] == list(recording.keys) == ["C4", "C#4", "D4"]
    assert recording.keys is recording.keys  # measured once


def test_a_number_comes_with_unit_and_uncertainty_or_its_reason(path: Path) -> None:
    key = keyplumb.open(path).keys["C4"]
    down, latency = key["down_weight"], key["note_latency"]

    assert down.unit == "N"
    assert down.value == pytest.approx(SyntheticKey().down, abs=down.expanded)
    assert latency.value is None
    assert latency.reason
    with pytest.raises(KeyError, match="sing is no measurand; there are key_dip"):
        key["sing"]


def test_a_key_that_is_not_there_is_told_from_a_name_that_is_none(path: Path) -> None:
    keys = keyplumb.open(path).keys

    assert keys["Db4"] is keys["C#4"]
    with pytest.raises(KeyError, match="'H9' is no key; keys are A0"):
        keys["H9"]
    with pytest.raises(KeyError, match="holds no C8; it holds C4, C#4, D4"):
        keys["C8"]


def test_a_misspelt_measurand_is_told_with_what_may_be_meant(path: Path, both: Compared) -> None:
    for plot in (keyplumb.open(path).plot, both.plot):
        with pytest.raises(KeyError, match="frictoin is no measurand; perhaps friction"):
            plot("frictoin")


def test_a_frame_holds_every_number_with_unit_and_uncertainty_in_its_name(path: Path) -> None:
    recording = keyplumb.open(path)
    frame, key = recording.frame(), recording.keys["C#4"]

    for name in ("down_weight_N", "letoff_slope_N_per_mm", "letoff_ratio"):
        measured = key[name.replace("_N_per_mm", "").replace("_N", "")]
        assert frame.loc["C#4", [name, f"{name}_u", f"{name}_U95"]].tolist() == [
            measured.value,
            measured.u,
            measured.expanded,
        ]
    assert frame.loc["C#4", "note_latency_reason"] == key["note_latency"].reason


def test_a_curve_is_arrays_a_frame_and_a_picture(path: Path) -> None:
    curve = keyplumb.open(path).keys["C4"].curve
    assert curve is not None
    mine = Figure().add_subplot()

    assert curve.plot(mine, units="N,mm", label="mine") is mine
    down, up = mine.lines
    assert np.allclose(np.asarray(down.get_ydata()), curve.down_newton)
    assert np.allclose(np.asarray(up.get_ydata()), curve.up_newton)
    assert [line.get_label() for line in mine.lines] == ["mine down", "mine up"]
    assert len(mine.collections) == 2  # the bands
    assert list(curve.frame().columns) == ["way_mm", "down_N", "down_N_u", "up_N", "up_N_u", "gap"]
    assert curve.plot(mine, units="gf,in").get_ylabel() == "force (gf uncalibrated)"


def test_a_key_that_nobody_pressed_has_no_curve_and_says_so_in_its_picture(tmp_path: Path) -> None:
    write_recording(tmp_path / "r.h5", a_header(), [a_recording(None, Press(strokes=0))])
    recording = keyplumb.open(tmp_path / "r.h5")

    assert recording.keys["C4"].curve is None
    assert recording.curves().empty
    words = [text.get_text() for text in recording.keys["C4"].plot(Figure().add_subplot()).texts]
    assert "nothing could be measured" in words
    with pytest.raises(KeyError, match="key_dip was measured on no key"):
        recording.plot("key_dip")
    pyplot.close("all")


def test_a_measurand_is_drawn_over_the_keyboard_with_trends(two: tuple[Path, Path]) -> None:
    fern = keyplumb.open(two[0])
    mine = Figure().add_subplot()

    assert fern.plot("down_weight", mine, units="N,mm", label="fern") is mine
    assert mine.get_ylabel() == "Down weight (N uncalibrated)"
    trend = mine.lines[-1]
    assert np.asarray(trend.get_ydata()) == pytest.approx(0.5, abs=0.001)
    trends = fern.trends().set_index(["measurand", "colour"])
    assert trends.loc[("down_weight", "natural"), "median"] == pytest.approx(0.5, abs=0.001)
    assert fern.statistics() is fern.statistics()


@pytest.fixture(scope="module")
def both(two: tuple[Path, Path]) -> Compared:
    return keyplumb.compare(*two)


def test_two_recordings_are_compared_from_files_or_memory(two: tuple[Path, Path], both: Compared) -> None:
    from_files = both
    from_memory = keyplumb.compare(keyplumb.measure(two[0]), keyplumb.open(two[1]))

    assert from_files.result.labels == ("fern", "moss")
    assert from_files.sentences() == from_memory.sentences()
    assert "moss needs 10.1" in from_files.sentences()[0]
    found = from_files.frame().set_index(["measurand", "colour", "region"]).loc[("down_weight", "natural", "whole")]
    assert found["difference"] == pytest.approx(0.1, abs=0.001)
    assert found["verdict"] == "different"
    assert any("fern is uncalibrated" in caution for caution in from_files.cautions)


def test_a_comparison_takes_margins_and_refuses_a_recording_with_itself(two: tuple[Path, Path], tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text('[[margin]]\nmeasurand = "key_dip"\nwithin = 1.0\nunit = "mm"\n', encoding="utf-8")

    margins = keyplumb.compare(*two, margins=tmp_path / "m.toml").result.margins
    assert (margins["key_dip"], margins["friction"]) == (1.0, pytest.approx(2 * 0.00980665))  # the other is built in
    with pytest.raises(SameRecording, match="hold the same recording"):
        keyplumb.compare(two[0], two[0])


def test_a_difference_is_drawn_key_by_key_with_its_means(both: Compared) -> None:
    mine = Figure().add_subplot()

    assert both.plot("down_weight", mine, units="N,mm") is mine
    assert mine.get_ylabel() == "moss less fern:\nDown weight (N uncalibrated)"
    dots = mine.containers[0].lines[0]  # type: ignore[attr-defined]
    assert dots.get_ydata() == pytest.approx(0.1, abs=0.001)
    with pytest.raises(KeyError, match="note_latency was compared on no key"):
        both.plot("note_latency", mine)
    with pytest.raises(KeyError, match="no band for naturals in bass"):
        both.plot_travel(mine, region="bass")


def test_a_difference_is_drawn_over_the_travel_with_its_band() -> None:
    pairs = [the_scenario(name) for name in ("fern", "moss")]
    both = Compared(compare_keyboards(pairs, ["fern", "moss"]), (None, None))

    drawn = both.plot_travel(Figure().add_subplot(), region="middle", units="N,mm")
    down = next(b for b in both.pair().bands if (b.colour, b.region, b.branch) == ("natural", "middle", "down"))
    assert np.allclose(np.asarray(drawn.lines[0].get_ydata()), down.difference_newton)
    assert drawn.get_ylabel() == "moss less fern, naturals, middle (N uncalibrated)"


def test_odd_keys_come_with_words(path: Path) -> None:
    assert keyplumb.measure(path).odd_keys() == {}


def test_what_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'sing'"):
        keyplumb.sing  # noqa: B018
