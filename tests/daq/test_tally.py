"""Running numbers: what is kept and what is told always add up to what was sent, over restarts and wraps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.tally import StreamTally
from recordings.types import Damage
from rig.protocol.messages import EVENT_DTYPE, SAMPLE_DTYPE, EventBlock, Hello, SampleBlock, StreamEnd

WRAP = 1 << 32


def a_block(first: int, count: int = 10, first_tick_us: int | None = None) -> SampleBlock:
    samples = np.zeros(count, SAMPLE_DTYPE)
    tick_us = 1000 * first if first_tick_us is None else first_tick_us
    samples["tick_us"] = (tick_us + 1000 * np.arange(count)) % WRAP
    return SampleBlock(first % WRAP, samples)


def a_hello(start_count: int = 1, next_sample: int = 0, next_event: int = 0) -> Hello:
    return Hello(2, "a rig", "1", "1", 1_000_000, 2, 2, 0, 1, 1, start_count, next_sample, next_event)


class Told(list[Damage]):
    def amounts(self) -> list[tuple[str, int]]:
        return [(damage.kind, damage.amount) for damage in self]


def a_tally() -> tuple[StreamTally, Told]:
    told = Told()
    return StreamTally(told.append), told


def test_a_loss_at_the_very_end_of_a_stream_is_told() -> None:
    tally, told = a_tally()
    tally.trace(a_block(0))
    tally.ended(StreamEnd(35, 2))

    assert told.amounts() == [("lost_samples", 25)]


def test_events_lost_before_the_first_that_was_heard_are_told_from_the_greeting() -> None:
    tally, told = a_tally()
    tally.greeted(a_hello(next_event=4))
    tally.events(EventBlock(6, np.zeros(1, EVENT_DTYPE)))

    assert told.amounts() == [("lost_events", 2)]


def test_a_restart_is_told_with_what_was_lost_just_before_it() -> None:
    tally, told = a_tally()
    tally.greeted(a_hello())
    tally.frame_is_news(500)
    tally.trace(a_block(0))

    assert tally.greeted(a_hello(start_count=2, next_sample=17))
    assert told.amounts() == [("rig_restarted", 1), ("lost_samples", 7)]
    assert tally.frame_is_news(0)
    trace = tally.trace(a_block(17, first_tick_us=1000))
    assert trace is not None
    assert trace.sample_number[0] == 17
    assert trace.tick_us[0] == 1000  # the rig's clock as it came, begun anew


def test_a_rig_that_has_forgotten_its_numbers_says_that_the_loss_is_unknown() -> None:
    tally, told = a_tally()
    tally.greeted(a_hello())
    tally.trace(a_block(0))
    tally.greeted(a_hello(start_count=2, next_sample=0))

    assert told.amounts() == [("rig_restarted", 1)]
    assert "not known" in told[0].detail
    trace = tally.trace(a_block(0))
    assert trace is not None
    assert trace.sample_number.tolist() == list(range(10))


def test_a_rig_that_has_forgotten_how_often_it_has_started_is_known_by_its_numbers() -> None:
    tally, told = a_tally()
    tally.greeted(a_hello())
    tally.frame_is_news(900)
    for number in range(0, 5000, 10):
        tally.trace(a_block(number))

    assert tally.greeted(a_hello(start_count=1, next_sample=0))
    assert told.amounts() == [("rig_restarted", 1)]
    assert tally.frame_is_news(0)
    assert tally.trace(a_block(0, first_tick_us=1000)) is not None


def test_a_greeting_that_comes_twice_is_no_restart() -> None:
    tally, told = a_tally()
    tally.greeted(a_hello(next_sample=0))
    tally.trace(a_block(0))

    assert not tally.greeted(a_hello(next_sample=0))
    assert "rig_restarted" not in dict(told.amounts())


def test_a_second_greeting_of_the_same_rig_changes_nothing() -> None:
    tally, told = a_tally()
    tally.greeted(a_hello(next_sample=0))
    tally.trace(a_block(0))

    assert not tally.greeted(a_hello(next_sample=10))
    assert told == []


@pytest.mark.parametrize("first", [0, WRAP - 25, 5 * WRAP - 25], ids=["from 0", "over the wrap", "later wraps"])
def test_numbers_and_ticks_go_on_over_their_wraps(first: int) -> None:
    """32 bits of microseconds wrap after 71.6 minutes."""
    tally, told = a_tally()
    traces = [tally.trace(a_block(first + 10 * n, first_tick_us=WRAP - 15_000 + 10_000 * n)) for n in range(6)]
    numbers = np.concatenate([trace.sample_number for trace in traces if trace])
    ticks = np.concatenate([trace.tick_us for trace in traces if trace])

    assert told == []
    assert (np.diff(numbers) == 1).all()
    assert (np.diff(ticks) == 1000).all()


@given(st.lists(st.tuples(st.integers(0, 3), st.sampled_from(["keep", "lose", "again", "late"])), max_size=30))
def test_kept_and_told_lost_add_up_to_what_was_sent(blocks: list[tuple[int, str]]) -> None:
    tally, told = a_tally()
    tally.greeted(a_hello())
    number = kept = 0
    late: list[SampleBlock] = []
    for count, fate in blocks:
        block = a_block(number, count)
        number += count
        heard = {"keep": [block], "lose": [], "again": [block, block], "late": []}[fate]
        late += [block] if fate == "late" else []
        for one in heard + (late[:1] if fate == "keep" else []):
            trace = tally.trace(one)
            kept += len(trace) if trace else 0
    tally.ended(StreamEnd(number, 0))

    assert kept + sum(damage.amount for damage in told if damage.kind == "lost_samples") == number
