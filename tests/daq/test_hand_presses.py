"""A press by hand is seen for what it is: from air to air, whole, and hard enough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.calibration.hand_presses import HandPressWatch, Wanted
from recordings.types import LinearScale, RawTrace

FORCE = LinearScale(counts_per_unit=20000.0, zero_counts=0, unit="N", calibrated_on=None, reference="")


def a_press(peak_newton: float = 5.0, *, rest_s: float = 1.0, held_newton: float = 0.0, first: int = 0) -> RawTrace:
    """From air to air; held_newton: the hand has rested on the plunger until a moment before the end of the press."""
    rest = np.zeros(round(rest_s * 1000))
    rise = np.linspace(0.0, peak_newton, 1500)
    held = np.full_like(rest, held_newton)
    newton = np.concatenate([held, np.maximum(rise, held_newton), rise[::-1], rest]) + np.random.default_rng(1).normal(
        0.05, 0.003, 2 * len(rest) + 3000
    )
    number = np.arange(first, first + len(newton), dtype=np.int64)
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


def test_nobody_is_asked_to_press_before_the_zero_was_read_in_the_air() -> None:
    """A person, or a loaded machine, may be so quick that the press is under way when the program begins to listen."""
    watch, press = HandPressWatch(FORCE, 1000.0), a_press()
    under_way = press.part(slice(1500, 4000))

    assert fed(under_way, watch) is None
    assert watch.wanted is Wanted.HANDS_OFF
    fed(press.part(slice(4000, 4500)), watch)
    assert watch.wanted is Wanted.PRESS


@pytest.mark.parametrize("held_newton", [0.3, 1.0, 3.0])
def test_a_zero_that_was_read_under_a_resting_hand_counts_for_nothing(held_newton: float) -> None:
    watch = HandPressWatch(FORCE, 1000.0)

    assert fed(a_press(held_newton=held_newton), watch) is None
    assert watch.held == 1
    whole = fed(a_press(first=5000), watch)
    assert whole is not None
    assert watch.gaps == 0
    assert whole.force_counts[:300].mean() / 20000.0 == pytest.approx(0.05, abs=0.01)


def test_the_zero_may_drift_while_the_person_takes_time() -> None:
    """0.3 N in a minute: three times what a cell may do, and more than the air is wide."""
    air, press = a_press(rest_s=30.0).part(slice(0, 30_000)), a_press(first=30_000)
    drift = np.linspace(0.0, 0.3, len(air)) * 20000
    drifting = replace(air, force_counts=(air.force_counts + drift).astype(np.int32))
    after = replace(press, force_counts=press.force_counts + 6000)
    watch = HandPressWatch(FORCE, 1000.0)

    assert fed(drifting, watch) is None
    assert fed(after, watch) is not None
    assert (watch.held, watch.gaps) == (0, 0)


def test_a_touch_is_no_press() -> None:
    watch = HandPressWatch(FORCE, 1000.0)

    assert fed(a_press(peak_newton=1.0), watch) is None
    assert watch.wanted is Wanted.PRESS
    assert fed(a_press(first=5000), watch) is not None
    assert watch.gaps == 0


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
