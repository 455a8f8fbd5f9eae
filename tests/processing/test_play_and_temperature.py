"""What a record says of the gauge's play and of temperature is taken out of the numbers, not only carried as doubt."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.calibrate import at_temperature, calibrate, recalibrated, without_play
from processing.calibration_doubt import doubt_of
from processing.pipeline import analyse
from recordings.calibration_record import DisplacementCalibration, Environment
from tests.builders import (
    QUICK,
    WHOLE_RECORD,
    Press,
    SyntheticKey,
    a_calibration,
    a_header,
    a_polynomial,
    a_recording,
    a_trace,
    pressed,
)

PLAY = 0.05
AT_20 = Environment(
    celsius=20.0,
    force_per_kelvin=1e-3,
    u_force_per_kelvin=2e-4,
    displacement_per_kelvin=-1e-3,
    u_displacement_per_kelvin=1e-4,
)


def gauge_with_play(way: np.ndarray, play: float) -> np.ndarray:  # type: ignore[type-arg]
    """Return what a gauge shows that is dragged along at either end of its play (closed form of the play operator)."""
    shown, at = np.empty_like(way), way[0]
    for place, now in enumerate(way):
        at = min(max(at, now - play / 2.0), now + play / 2.0)
        shown[place] = at
    return shown


@given(play=st.floats(0.005, 0.2), turns=st.lists(st.floats(1.0, 10.0), min_size=1, max_size=4))
def test_places_of_a_gauge_with_play_are_true_wherever_it_is_in_touch(play: float, turns: list[float]) -> None:
    ends = [0.0]
    for number, length in enumerate(turns):
        ends.append(ends[-1] + (length if number % 2 == 0 else -length))
    way = np.concatenate([np.arange(a, b, np.sign(b - a) * 0.002) for a, b in pairwise(ends)])
    shown = gauge_with_play(way, play)

    found = without_play(shown, play)

    in_touch = np.append(False, np.abs(np.diff(shown)) > 1e-9)  # a gauge that stands says nothing of where in its play
    assert in_touch.mean() > 0.5
    assert found[in_touch] == pytest.approx(way[in_touch], abs=0.005)


def test_without_play_nothing_is_changed() -> None:
    shown = np.array([1.0, 2.0, 1.5])

    assert without_play(shown, 0.0) is shown


def test_a_key_measured_by_a_gauge_with_play_has_the_numbers_of_one_without() -> None:
    time, way, force = pressed(SyntheticKey(), Press())
    exact = a_recording()
    lagging = replace(exact, trace=a_trace(time, gauge_with_play(way, PLAY), force))
    part = DisplacementCalibration(polynomial=a_polynomial(), backlash_mm=PLAY, u_backlash_mm=0.001)
    knows = replace(WHOLE_RECORD, displacement=part)

    true, with_play, ignored = (
        analyse(recalibrated(a_header(), record), [recording], QUICK).keys[0]
        for record, recording in ((WHOLE_RECORD, exact), (knows, lagging), (WHOLE_RECORD, lagging))
    )

    for name in ("up_weight", "down_weight", "key_dip", "letoff_peak_position", "return_work"):
        assert with_play[name].value == pytest.approx(true[name].value, abs=0.003), name
    assert abs((ignored["return_work"].value or 0.0) - (true["return_work"].value or 0.0)) > 0.005


def test_a_room_ten_kelvin_warmer_changes_the_scales_by_their_coefficients() -> None:
    record = replace(WHOLE_RECORD, environment=AT_20)
    trace = a_trace(np.arange(100) * 1e-3, np.linspace(0.0, 5.0, 100), np.linspace(0.0, 2.0, 100))
    calibration = replace(a_calibration(), record=record)

    warm = calibrate(trace, at_temperature(calibration, 30.0))

    assert warm.force_newton == pytest.approx(1.01 * np.linspace(0.0, 2.0, 100), abs=1e-5)
    assert warm.displacement_mm == pytest.approx(0.99 * np.linspace(0.0, 5.0, 100), abs=1e-5)
    assert calibration.record is record  # what was recorded stays as it is


@pytest.mark.parametrize("room", [None, 20.0])
def test_in_an_unknown_room_or_at_the_temperature_of_the_calibration_nothing_changes(room: float | None) -> None:
    calibration = replace(a_calibration(), record=replace(WHOLE_RECORD, environment=AT_20))

    assert at_temperature(calibration, room) == calibration


def test_the_numbers_of_a_warm_room_follow_and_their_budget_has_the_coefficients_doubt() -> None:
    record, header = replace(WHOLE_RECORD, environment=AT_20), a_header()
    warm = replace(header, run=replace(header.run, room_celsius=30.0))

    cold_key, warm_key = (analyse(recalibrated(one, record), [a_recording()], QUICK).keys[0] for one in (header, warm))
    doubt = doubt_of(record, room_celsius=30.0)

    assert (warm_key["down_weight"].value or 0.0) == pytest.approx(
        1.01 * (cold_key["down_weight"].value or 0.0), rel=1e-3
    )
    assert doubt is not None
    assert doubt.force_by_temperature is not None
    assert doubt.force_by_temperature.u == pytest.approx(2e-3)  # 10 K times 2e-4 /K
    assert doubt.kelvin_off is None
    budget = warm_key["down_weight"].budget
    assert budget is not None
    (line,) = [line for line in budget.lines if line.name == "temperature coefficient of the force"]
    # F = scale times what is shown, so the sensitivity to the scale is the weight itself
    assert abs(line.sensitivity) == pytest.approx(warm_key["down_weight"].value or 0.0, rel=0.02)
