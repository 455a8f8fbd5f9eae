"""The rig's 32-bit clock made one that does not wrap."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from daq.clock import WRAP_US, TickUnwrapper


@given(st.integers(0, WRAP_US - 1), st.lists(st.integers(0, WRAP_US // 2 - 1), max_size=50))
def test_time_that_goes_forward_comes_out_as_it_went(start: int, steps: list[int]) -> None:
    unwrapper, now = TickUnwrapper(), start
    assert unwrapper.unwrap(start) == start
    for step in steps:
        now += step
        assert unwrapper.unwrap(now % WRAP_US) == now


def test_the_counter_wraps_after_71_6_minutes() -> None:
    assert round(WRAP_US / 60e6, 1) == 71.6


def test_a_block_across_the_wrap_goes_on() -> None:
    unwrapper = TickUnwrapper()
    unwrapper.unwrap(WRAP_US - 2000)
    block = np.array([WRAP_US - 1000, 0, 1000], np.uint32)

    assert unwrapper.unwrap_all(block).tolist() == [WRAP_US - 1000, WRAP_US, WRAP_US + 1000]


def test_a_stamp_a_little_late_is_not_a_turn_of_the_clock() -> None:
    unwrapper = TickUnwrapper()
    unwrapper.unwrap(WRAP_US - 10)
    unwrapper.unwrap(5)

    assert unwrapper.unwrap(WRAP_US - 5) == WRAP_US - 5
