"""The rig's 32-bit clock made one that does not wrap."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from daq.clock import WRAP, Unwrapper


@given(st.integers(0, WRAP - 1), st.lists(st.integers(0, WRAP // 2 - 1), max_size=50))
def test_time_that_goes_forward_comes_out_as_it_went(start: int, steps: list[int]) -> None:
    unwrapper, now = Unwrapper(), start
    assert unwrapper.unwrap(start) == start
    for step in steps:
        now += step
        assert unwrapper.unwrap(now % WRAP) == now


def test_the_counter_wraps_after_71_6_minutes() -> None:
    assert round(WRAP / 60e6, 1) == 71.6


def test_a_block_across_the_wrap_goes_on() -> None:
    unwrapper = Unwrapper()
    unwrapper.unwrap(WRAP - 2000)
    block = np.array([WRAP - 1000, 0, 1000], np.uint32)

    assert unwrapper.unwrap_all(block).tolist() == [WRAP - 1000, WRAP, WRAP + 1000]


def test_a_stamp_a_little_late_is_not_a_turn_of_the_clock() -> None:
    unwrapper = Unwrapper()
    unwrapper.unwrap(WRAP - 10)
    unwrapper.unwrap(5)

    assert unwrapper.unwrap(WRAP - 5) == WRAP - 5
