"""Units of the simulated line: recordings like any other, measured to what is true of them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from keyplumb.line.recorded_units import LineRig, record_unit, unit_file
from processing.calibration_status import calibration_status
from processing.keyboard import KeyboardResult
from processing.whole_recording import analyse_file
from recordings.reader import open_recording
from rig.virtual.line_of_units import load_line

LINE = load_line("moss").model_copy(update={"keys": (34, 40)})
BAD_UNIT = 33


@pytest.fixture(scope="module")
def unit(tmp_path_factory: pytest.TempPathFactory) -> tuple[KeyboardResult, list[dict[str, Any]]]:
    path = unit_file(tmp_path_factory.mktemp("line"), LINE, BAD_UNIT)
    truths = record_unit(path, line=LINE)
    with open_recording(path) as opened:
        return analyse_file(opened), truths


def test_a_unit_is_a_calibrated_recording_with_its_serial_number(
    unit: tuple[KeyboardResult, list[dict[str, Any]]],
) -> None:
    header = unit[0].header

    assert (header.run.instrument, header.run.serial) == ("moss", "moss-033")
    assert calibration_status(header) == "calibrated"
    assert [key.key.number for key in unit[0].keys] == list(LINE.keys)


def test_a_unit_is_measured_to_what_is_true_of_it(unit: tuple[KeyboardResult, list[dict[str, Any]]]) -> None:
    result, truths = unit
    off = []
    for key, truth in zip(result.keys, truths, strict=True):
        assert key.key.name == truth["key"]
        for name in ("down_weight", "up_weight", "friction", "key_dip", "letoff_peak_position", "trigger_position"):
            value, expanded = key[name].value, key[name].expanded
            assert value is not None
            assert expanded is not None
            off.append(abs(value - truth["features"][name]) / expanded)

    assert max(off) < 2.0
    assert np.mean(np.array(off) < 1.0) > 0.7


def test_what_is_planted_is_told_apart_from_the_recording(unit: tuple[KeyboardResult, list[dict[str, Any]]]) -> None:
    _, truths = unit

    assert [truth["fault"] for truth in truths] == [None, "sticky"]
    assert truths[1]["features"]["friction"] > 1.5 * truths[0]["features"]["friction"]


def test_the_rigs_record_is_wrong_by_no_more_than_it_says() -> None:
    rig = LineRig(LINE)
    record = rig.calibration().record
    assert record is not None
    assert record.force is not None

    shown = record.force.polynomial.at(rig.spec.sensors.force_counts_per_newton)
    assert shown != 1.0
    assert shown == pytest.approx(1.0, abs=4 * np.hypot(3e-4, 2e-4))
