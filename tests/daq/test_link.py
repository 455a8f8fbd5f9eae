"""The host's end of the cable on a real pseudo-terminal: what is lost or bent is counted, the rest comes through."""

from __future__ import annotations

import os
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import numpy as np
import pytest

from daq.errors import PortLost, PortNotFound, RigMisbehaved, RigSilent
from daq.link import Link
from daq.port import open_port
from daq.session import Session
from recordings.types import Damage, RawEvents, RawTrace
from rig.protocol.frames import encode_frame
from rig.protocol.messages import EVENT_DTYPE, SAMPLE_DTYPE, Ack, EventBlock, Hello, SampleBlock


class FarEnd:
    """The other end of the cable, played by the test, and what the link has made of it."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self.slave = slave
        self.heard: list[RawTrace | RawEvents | Damage] = []

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def damage(self) -> list[tuple[str, int]]:
        return [(news.kind, news.amount) for news in self.heard if isinstance(news, Damage)]

    def sample_numbers(self) -> list[int]:
        return [n for news in self.heard if isinstance(news, RawTrace) for n in news.sample_number.tolist()]

    def hang_up(self) -> None:
        os.close(self.master)
        os.close(self.slave)


@contextmanager
def a_link() -> Iterator[tuple[FarEnd, Link]]:
    far = FarEnd()
    try:
        with Link(open_port(far.path), far.heard.append) as link:
            yield far, link
    finally:
        with suppress(OSError):  # the test may have hung up itself
            far.hang_up()


def wait_until(done: object, seconds: float = 5.0) -> None:
    ends = time.monotonic() + seconds
    while time.monotonic() < ends and not done():  # type: ignore[operator]
        time.sleep(0.002)
    assert done()  # type: ignore[operator]


def a_block(first: int, count: int = 10, sequence: int = 0) -> bytes:
    samples = np.zeros(count, SAMPLE_DTYPE)
    samples["tick_us"] = 1000 * (first + np.arange(count))
    return encode_frame(SampleBlock(first, samples), sequence)


def test_blocks_in_order_bring_no_damage() -> None:
    with a_link() as (far, _):
        far.send(a_block(0, sequence=0) + a_block(10, sequence=1))
        wait_until(lambda: len(far.sample_numbers()) == 20)

    assert far.damage() == []
    assert far.sample_numbers() == list(range(20))


def test_a_lost_block_is_counted_in_frames_and_samples() -> None:
    with a_link() as (far, _):
        far.send(a_block(0, sequence=0) + a_block(30, sequence=3))
        wait_until(lambda: len(far.sample_numbers()) == 20)

    assert far.damage() == [("lost_frames", 2), ("lost_samples", 20)]


def test_a_bent_frame_is_told_and_not_believed() -> None:
    bent = bytearray(a_block(10, sequence=1))
    bent[20] ^= 0x10
    with a_link() as (far, _):
        far.send(a_block(0, sequence=0) + bytes(bent) + a_block(20, sequence=2))
        wait_until(lambda: len(far.sample_numbers()) == 20)

    assert far.damage()[0][0] == "damaged_bytes"
    assert ("lost_samples", 10) in far.damage()


def test_running_numbers_may_wrap() -> None:
    with a_link() as (far, _):
        far.send(a_block(2**32 - 10, sequence=65535) + a_block(0, sequence=0))
        wait_until(lambda: len(far.sample_numbers()) == 20)

    assert far.damage() == []


def test_lost_events_are_counted() -> None:
    one = np.array([(5, 0, 0x90)], EVENT_DTYPE)
    with a_link() as (far, _):
        far.send(encode_frame(EventBlock(0, one), 0) + encode_frame(EventBlock(4, one), 1))
        wait_until(lambda: len(far.heard) == 3)

    assert far.damage() == [("lost_events", 3)]


def test_a_port_that_is_not_there_is_named() -> None:
    with pytest.raises(PortNotFound, match="there is no such port"):
        open_port("/dev/tty-of-nobody")


def test_a_port_is_for_one_program_only() -> None:
    with a_link() as (far, _), pytest.raises(PortNotFound, match="another program"):
        open_port(far.path)


def test_a_silent_rig_is_told_from_a_wrong_one() -> None:
    with a_link() as (_, link), pytest.raises(RigSilent, match="switched on"):
        Session(link).greet()


def test_a_cable_that_is_pulled_is_told() -> None:
    with a_link() as (far, link):
        far.hang_up()
        with pytest.raises(PortLost):
            link.next_reply(5.0)


def test_a_rig_of_another_version_is_refused() -> None:
    with a_link() as (far, link):
        far.send(encode_frame(Hello(99, "x", "1", "1", 1000, 2, 2, 0), 0) + encode_frame(Ack(0), 1))
        with pytest.raises(RigMisbehaved, match="version 99"):
            Session(link).greet()


def test_a_host_that_listens_keeps_the_watchdog_quiet() -> None:
    with a_link() as (far, _):
        os.set_blocking(far.master, True)
        first = os.read(far.master, 1000)
        time.sleep(0.12)
        second = os.read(far.master, 1000)

    assert len(first) > 0
    assert len(second) > 0
