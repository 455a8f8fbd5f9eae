"""A press by hand is seen for what it is: from air to air, whole, and hard enough."""

from __future__ import annotations

import numpy as np
import pytest

from daq.calibration.hand_presses import HandPressWatch
from recordings.types import LinearScale, RawTrace

FORCE = LinearScale(counts_per_unit=20000.0, zero_counts=0, unit="N", calibrated_on=None, reference="")


def a_press(peak_newton: float = 5.0, *, rest_s: float = 1.0) -> RawTrace:
    rest = np.zeros(round(rest_s * 1000))
    rise = np.linspace(0.0, peak_newton, 1500)
    newton = np.concatenate([rest, rise, rise[::-1], rest]) + np.random.default_rng(1).normal(
        0.05, 0.003, 2 * len(rest) + 3000
    )
    number = np.arange(len(newton), dtype=np.int64)
    return RawTrace(number, number * 1000, np.rint(newton * 20000).astype(np.int32), np.zeros(len(newton), np.int32))


def fed(trace: RawTrace, watch: HandPressWatch, piece: int = 50) -> RawTrace | None:
    for start in range(0, len(trace), piece):
        whole = watch.feed(trace.part(slice(start, start + piece)))
        if whole is not None:
            return whole
    return None


@pytest.mark.parametrize("piece", [1, 50, 333])
def test_a_press_is_over_when_the_force_has_gone_for_a_while(piece: int) -> None:
    whole = fed(a_press(), HandPressWatch(FORCE, 1000.0), piece)

    assert whole is not None
    newton = whole.force_counts / 20000.0
    assert newton.max() > 4.9
    assert newton[:300].mean() == pytest.approx(0.05, abs=0.01)  # air before
    assert newton[-300:].mean() == pytest.approx(0.05, abs=0.03)  # and after


def test_a_touch_is_no_press() -> None:
    watch = HandPressWatch(FORCE, 1000.0)

    assert fed(a_press(peak_newton=1.0), watch) is None
    assert fed(a_press(), watch) is not None


def test_half_a_press_before_a_gap_counts_for_nothing() -> None:
    press, watch = a_press(), HandPressWatch(FORCE, 1000.0)
    torn = RawTrace.joined([press.part(slice(0, 2000)), press.part(slice(2050, None))])

    assert fed(torn, watch) is None
    assert watch.gaps == 1


def test_a_person_may_call_a_press_finished_once_it_was_hard_enough() -> None:
    watch, press = HandPressWatch(FORCE, 1000.0), a_press()

    assert watch.said_to_be_over() is None
    fed(press.part(slice(0, 3900)), watch)
    assert watch.said_to_be_over() is not None
