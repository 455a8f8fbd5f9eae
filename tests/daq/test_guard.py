"""The host's own guard: it acts when the rig's limits have failed, and not before."""

from __future__ import annotations

import numpy as np
import pytest

from daq.errors import StoppedForSafety
from daq.guard import OVER_NEWTON, HostGuard
from recordings.types import Calibration, LinearScale, RawTrace

LIMIT_NEWTON = 4.0


def a_scale(counts_per_unit: float, unit: str) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference="a test"
    )


CALIBRATION = Calibration(
    force=a_scale(1000.0, "N"), displacement=a_scale(100.0, "mm"), compliance_mm_per_newton=0.0, force_delay_us=0
)


def a_guard(stops: list[str], limit_newton: float | None = LIMIT_NEWTON) -> HostGuard:
    guard = HostGuard(CALIBRATION, (0.0, 25.0), lambda: stops.append("stop"))
    guard.force_limit_newton = limit_newton
    return guard


def a_trace(newton: list[float], mm: float = 5.0) -> RawTrace:
    number = np.arange(len(newton), dtype=np.int64)
    force = np.rint(1000.0 * np.array(newton)).astype(np.int32)
    return RawTrace(number, 1000 * number, force, np.full(len(newton), round(100.0 * mm), np.int32))


TOO_MUCH = LIMIT_NEWTON + OVER_NEWTON + 0.1


@pytest.mark.parametrize(
    ("trace", "why"),
    [
        pytest.param(a_trace([TOO_MUCH] * 3), "the force passed 8.0 N", id="too much force"),
        pytest.param(a_trace([-TOO_MUCH] * 3), "the force passed 8.0 N", id="a cell with the wrong sign"),
        pytest.param(a_trace([0.0], mm=26.1), "left its way of 0..25 mm", id="too deep"),
        pytest.param(a_trace([0.0], mm=-1.1), "left its way of 0..25 mm", id="too high"),
    ],
)
def test_what_the_rig_should_have_stopped_is_stopped_by_the_host(trace: RawTrace, why: str) -> None:
    stops: list[str] = []

    with pytest.raises(StoppedForSafety, match=why):
        a_guard(stops).watch(trace)
    assert stops == ["stop"]


def test_samples_in_a_row_count_over_blocks() -> None:
    stops: list[str] = []
    guard = a_guard(stops)
    guard.watch(a_trace([0.0, TOO_MUCH, TOO_MUCH]))

    with pytest.raises(StoppedForSafety):
        guard.watch(a_trace([TOO_MUCH]))


@pytest.mark.parametrize(
    ("guard", "trace"),
    [
        pytest.param(a_guard([]), a_trace([TOO_MUCH, 0.0, TOO_MUCH, TOO_MUCH, 0.0]), id="single wild samples"),
        pytest.param(a_guard([]), a_trace([LIMIT_NEWTON + OVER_NEWTON - 0.1] * 9, mm=25.9), id="just inside"),
        pytest.param(a_guard([], limit_newton=None), a_trace([99.0] * 9), id="nothing was told to move yet"),
    ],
)
def test_it_does_not_cry_wolf(guard: HostGuard, trace: RawTrace) -> None:
    guard.watch(trace)  # raises if it does
