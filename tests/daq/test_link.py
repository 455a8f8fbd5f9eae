"""The host's end of the cable on a real pseudo-terminal: what is lost or bent is counted, the rest comes through."""

from __future__ import annotations

import os
import termios
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import numpy as np
import pytest

from daq.errors import PortLost, PortNotFound, RigBabbles, RigMisbehaved, RigSilent
from daq.link import Link
from daq.port import open_port
from daq.session import Session
from recordings.errors import CannotWrite
from recordings.types import Damage, RawEvents, RawTrace
from rig.protocol.frames import encode_frame
from rig.protocol.messages import EVENT_DTYPE, SAMPLE_DTYPE, Ack, EventBlock, Hello, SampleBlock
from rig.virtual.virtual_rig import VirtualRig
from tests.daq.rigs import KEYS


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
    samples["tick_us"] = (1000 * (first + np.arange(count))) & 0xFFFFFFFF
    return encode_frame(SampleBlock(first & 0xFFFFFFFF, samples), sequence & 0xFFFF)


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


def test_a_block_that_comes_twice_is_kept_once() -> None:
    with a_link() as (far, _):
        far.send(a_block(0, sequence=0) + a_block(0, sequence=0) + a_block(10, sequence=1))
        wait_until(lambda: len(far.sample_numbers()) == 20)

    assert far.sample_numbers() == list(range(20))
    assert far.damage() == [("repeated_or_late", 1)]


def test_a_block_that_comes_late_stays_lost_and_is_told() -> None:
    with a_link() as (far, _):
        far.send(a_block(0, sequence=0) + a_block(20, sequence=2) + a_block(10, sequence=1) + a_block(30, sequence=3))
        wait_until(lambda: len(far.sample_numbers()) == 30)

    assert far.sample_numbers() == [*range(10), *range(20, 40)]
    assert far.damage() == [("lost_frames", 1), ("lost_samples", 10), ("repeated_or_late", 1)]


FAULTS = ("lose", "bend", "cut", "repeat", "swap", "babble", "none", "none", "none")


def spoiled(frames: list[bytes], random: np.random.Generator) -> bytes:
    """Return a stream of frames with faults at random places; first and last frame stay whole."""
    sent = [frames[0]]
    middle = list(frames[1:-1])
    while middle:
        frame = middle.pop(0)
        match FAULTS[random.integers(len(FAULTS))]:
            case "lose":
                continue
            case "bend":
                bent = bytearray(frame)
                bent[random.integers(len(frame) - 1)] ^= 1 << int(random.integers(8))
                sent.append(bytes(bent))
            case "cut":
                sent.append(frame[: random.integers(1, len(frame))])
            case "repeat":
                sent += [frame, frame]
            case "swap" if middle:
                sent += [middle.pop(0), frame]
            case "babble":
                sent += [random.integers(0, 256, 40, np.uint8).tobytes() + b"\x00", frame]
            case _:
                sent.append(frame)
    return b"".join([*sent, b"\x00", frames[-1]])  # the zero ends whatever was cut before


@pytest.mark.parametrize("seed", range(150))
def test_whatever_happens_on_the_cable_sent_is_stored_plus_reported_lost(seed: int) -> None:
    """Half of the streams run over the wraps of sequence, sample number and tick."""
    random = np.random.default_rng(seed)
    blocks, count = 60, 7
    first, sequence = (2**32 - 200, 2**16 - 30) if seed % 2 else (0, 0)
    frames = [a_block(first + n * count, count, sequence + n) for n in range(blocks)]
    with a_link() as (far, _):
        for piece in np.array_split(np.frombuffer(spoiled(frames, random), np.uint8), 9):
            far.send(piece.tobytes())
        wait_until(lambda: first + blocks * count - 1 in far.sample_numbers())

    lost = sum(amount for kind, amount in far.damage() if kind == "lost_samples")
    assert len(far.sample_numbers()) + lost == blocks * count
    assert far.sample_numbers() == sorted(set(far.sample_numbers()))
    ticks = np.concatenate([news.tick_us for news in far.heard if isinstance(news, RawTrace)])
    assert (ticks - ticks[0] == 1000 * (np.array(far.sample_numbers()) - far.sample_numbers()[0])).all()


def test_babble_is_told_together_and_does_not_flood_the_recording() -> None:
    noise = np.random.default_rng(1).integers(0, 256, 30_000, np.uint8).tobytes()
    with a_link() as (far, _):
        far.send(a_block(0, sequence=0))
        for start in range(0, len(noise), 3000):
            far.send(noise[start : start + 3000])
        far.send(b"\x00" + a_block(10, sequence=1))
        wait_until(lambda: len(far.sample_numbers()) == 20)

    (told,) = [news for news in far.heard if isinstance(news, Damage)]
    assert told.kind == "damaged_bytes"
    assert 29_000 < told.amount <= 30_000  # the zeros in the noise belong to nobody


def test_a_sink_that_cannot_write_is_heard_by_who_waits_for_the_rig() -> None:
    def full_disk(_: object) -> None:
        raise CannotWrite("r.h5", "No space left on device")

    far = FarEnd()
    with Link(open_port(far.path), full_disk) as link:
        far.send(a_block(0))
        with pytest.raises(CannotWrite):
            link.next_reply(5.0)
        with pytest.raises(CannotWrite):
            link.check()
    far.hang_up()


class AtItsOwnRate:
    """A rig whose wire is right at one baud rate only: at any other the host reads other bytes."""

    def __init__(self, baud: int) -> None:
        self.far = FarEnd()
        self._baud = getattr(termios, f"B{baud}")
        self._rig, self._stop = VirtualRig(KEYS[:1]), threading.Event()
        self._thread = threading.Thread(target=self._serve)
        os.set_blocking(self.far.master, False)

    def __enter__(self) -> str:
        self._thread.start()
        return self.far.path

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self.far.hang_up()

    def _serve(self) -> None:
        began_s = time.monotonic()
        while not self._stop.wait(0.01):
            right = termios.tcgetattr(self.far.slave)[5] == self._baud
            received = b""
            with suppress(BlockingIOError):
                received = os.read(self.far.master, 4096)
            said = self._rig.receive(received if right else b"", round((time.monotonic() - began_s) * 1e6))
            garbled = bytes((byte * 37 + 11) & 0xFF for byte in received)
            with suppress(BlockingIOError):
                os.write(self.far.master, said if right else garbled)


def test_a_wrong_baud_rate_is_told_from_silence_and_the_right_one_works() -> None:
    with AtItsOwnRate(115_200) as path:
        with Link(open_port(path), lambda _: None) as link, pytest.raises(RigBabbles, match="baud rate"):
            Session(link).greet()
        with Link(open_port(f"{path}@115200"), lambda _: None) as link:
            assert Session(link).greet().info.model == "virtual bench"


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
        far.send(encode_frame(Hello(99, "x", "1", "1", 1000, 2, 2, 0, 1, 1, 1, 0, 0), 0))
        far.send(b"".join(encode_frame(Ack(number), number + 1) for number in range(4)))  # heartbeats count too
        with pytest.raises(RigMisbehaved, match="version 99"):
            Session(link).greet()


def test_the_heart_beats_on_while_the_disk_is_slow() -> None:
    """The sink stands for a journal that waits for its disk: longer than the rig's watchdog."""
    far = FarEnd()
    with Link(open_port(far.path), lambda _: time.sleep(0.4)):
        far.send(a_block(0))
        time.sleep(0.05)
        os.read(far.master, 1000)
        time.sleep(0.15)
        beats = os.read(far.master, 1000)
    far.hang_up()

    assert len(beats) > 0


def test_a_host_that_listens_keeps_the_watchdog_quiet() -> None:
    with a_link() as (far, _):
        os.set_blocking(far.master, True)
        first = os.read(far.master, 1000)
        time.sleep(0.12)
        second = os.read(far.master, 1000)

    assert len(first) > 0
    assert len(second) > 0
