"""The close look at a key: what it draws is what the numbers were read from."""

from __future__ import annotations

import numpy as np
import pytest

from processing.display import Units
from processing.report.close_up import (
    NUMBERS,
    apart,
    close_up_figure,
    levels_of,
    look_closely,
    residuals_newton,
    write_close_up,
)
from processing.settings import Settings
from processing.stages import Branch
from tests.builders import Press, SyntheticKey, a_calibration, a_recording


@pytest.fixture(scope="module")
def seen():
    return look_closely(a_recording(SyntheticKey(), Press()), a_calibration(), Settings())


def test_the_close_up_shows_the_strokes_and_landmarks_that_the_numbers_rest_on(seen):
    assert len(seen.used) == seen.result.strokes
    assert seen.marks.bed_contact_mm == seen.result["bed_contact"].value
    read = seen.result["letoff_end_position"].budget
    assert seen.marks.letoff.end_mm == pytest.approx(read.value - sum(one.amount for one in read.corrections))


def test_every_threshold_has_a_place_and_a_name(seen):
    levels = {name: (newton, from_mm, to_mm) for newton, from_mm, to_mm, name in levels_of(
        seen.marks, seen.result.curve, seen.settings
    )}  # fmt: skip

    assert {"touch", "bed begins", "before", "10 % of the rise", "detection limit", "90 % of the drop"} <= set(levels)
    assert levels["touch"][0] == Settings().stroke.touch_newton
    peak, before = seen.result["letoff_peak_force"].value, levels["before"][0]
    assert peak - before == pytest.approx(seen.result["letoff_rise"].value, abs=1e-9)
    assert all(from_mm < to_mm for _, from_mm, to_mm in levels.values())


def test_residuals_of_samples_on_the_curve_are_nothing_and_beyond_it_there_are_none():
    way = np.linspace(0.0, 5.0, 51)
    branch = Branch(np.arange(3.0), np.array([1.23, 4.0, 5.5]), 2.0 * np.array([1.23, 4.0, 5.5]))

    off = residuals_newton(branch, way, 2.0 * way)

    assert off[:2] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.isnan(off[2])


def test_names_of_levels_that_lie_together_are_pushed_apart():
    pushed = apart([1.0, 1.01, 1.02, 3.0], 0.5)

    assert np.diff(pushed).min() >= 0.5
    assert pushed[0] == 1.0
    assert pushed[-1] == 3.0


def test_the_picture_names_every_number_and_can_be_written(seen, tmp_path):
    figure = close_up_figure(seen, Units(), "C4")
    words = "\n".join(text.get_text() for text in figure.axes[3].texts)

    write_close_up(tmp_path / "C4.png", seen, Units(), "C4")

    assert all(name in words for name in NUMBERS)
    assert (tmp_path / "C4.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_key_of_which_nothing_can_be_measured_still_gets_a_picture():
    nothing = look_closely(a_recording(SyntheticKey(), Press(turn_newton=1.5)), a_calibration(), Settings())

    figure = close_up_figure(nothing, Units(), "C4")

    assert figure.axes[3].texts[0].get_text().count("-") >= 1
