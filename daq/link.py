"""The host's end of the cable: one thread that reads, decodes, counts damage and sorts what it hears.

How it works: samples, events and damage go to the sink as they come (in the reader's thread); replies go into a queue
where the session waits for them. A second thread sends the heartbeat, since the reader may wait for the disk; it beats
only while the reader lives, so the rig's watchdog also guards against a host that no longer listens.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable

import numpy as np
import serial
from serial.urlhandler.protocol_socket import Serial as SocketPort

from daq.clock import TickUnwrapper
from daq.errors import PortLost
from recordings.types import Damage, RawEvents, RawTrace
from rig.protocol.frames import DamagedBytes, Frame, FrameDecoder, encode_frame
from rig.protocol.messages import EventBlock, Heartbeat, Message, SampleBlock

HEARTBEAT_EVERY_S = 0.05
READ_BYTES = 4096
SEQUENCE_WRAP, NUMBER_WRAP = 1 << 16, 1 << 32

Sink = Callable[[RawTrace | RawEvents | Damage], None]


class Link:
    """An open cable. `close` it, or use it in a `with` block."""

    def __init__(self, port: serial.Serial, sink: Sink) -> None:
        self._port, self._sink = port, sink
        self._decoder, self._ticks = FrameDecoder(), TickUnwrapper()
        self._replies: queue.SimpleQueue[Message | PortLost] = queue.SimpleQueue()
        self._writing, self._sequence = threading.Lock(), 0
        self._expected: dict[str, int] = {}
        self._closing = threading.Event()
        self.last_tick_us = 0
        """The rig's clock at the newest sample."""
        self.heard_at_s = time.monotonic()
        """The host's clock when bytes last arrived."""
        self._reader = threading.Thread(target=self._read, name="link reader", daemon=True)
        self._beater = threading.Thread(target=self._beat, name="link heartbeat", daemon=True)
        self._reader.start()
        self._beater.start()

    def __enter__(self) -> Link:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop reading and close the port; harmless if already closed."""
        self._closing.set()
        self._reader.join()
        self._beater.join()
        self._port.close()

    def send(self, message: Message) -> int:
        """Send a message and return its sequence number. Raises PortLost."""
        with self._writing:
            sequence, self._sequence = self._sequence, (self._sequence + 1) & 0xFFFF
            try:
                self._port.write(encode_frame(message, sequence))
            except (serial.SerialException, OSError) as fault:
                raise PortLost(str(fault)) from fault
        return sequence

    def next_reply(self, timeout_s: float) -> Message | None:
        """Return the next reply (anything but samples and events), None after timeout_s. Raises PortLost."""
        try:
            reply = self._replies.get(timeout=timeout_s)
        except queue.Empty:
            return None
        if isinstance(reply, PortLost):
            raise reply
        return reply

    def _read(self) -> None:
        while not self._closing.is_set():
            try:
                received = self._port.read(self._how_many())
            except (serial.SerialException, OSError, TypeError) as fault:  # TypeError: closed while reading
                self._replies.put(PortLost(str(fault)))
                return
            if received:
                self.heard_at_s = time.monotonic()
                for item in self._decoder.feed(received):
                    self._sort(item)

    def _beat(self) -> None:
        while not self._closing.wait(HEARTBEAT_EVERY_S) and self._reader.is_alive():
            try:
                self.send(Heartbeat())
            except PortLost:  # the reader tells it
                return

    def _how_many(self) -> int:
        """Return how many bytes to wait for: what is there on a real port, where the answer to a command must not wait
        for a full buffer; a full buffer on a socket, whose `in_waiting` says only yes or no."""
        return READ_BYTES if isinstance(self._port, SocketPort) else max(1, self._port.in_waiting)

    def _sort(self, item: Frame | DamagedBytes) -> None:
        if isinstance(item, DamagedBytes):
            self._sink(Damage(self.last_tick_us, "damaged_bytes", item.length, item.reason))
            return
        if not self._is_news("lost_frames", item.sequence, 1, SEQUENCE_WRAP):
            return
        match item.message:
            case SampleBlock() as block:
                if self._is_news("lost_samples", block.first_sample_number, len(block.samples), NUMBER_WRAP):
                    self._sink(self._trace(block))
            case EventBlock() as block:
                if self._is_news("lost_events", block.first_event_number, len(block.events), NUMBER_WRAP):
                    ticks = np.array([self._ticks.unwrap(int(tick)) for tick in block.events["tick_us"]], np.int64)
                    self._sink(RawEvents(ticks, block.events["source"].copy(), block.events["byte"].copy()))
            case _:
                self._replies.put(item.message)

    def _trace(self, block: SampleBlock) -> RawTrace:
        ticks = self._ticks.unwrap_all(block.samples["tick_us"])
        if len(ticks):
            self.last_tick_us = int(ticks[-1])
        numbers = block.first_sample_number + np.arange(len(ticks), dtype=np.int64)
        return RawTrace(
            numbers, ticks, block.samples["force_counts"].copy(), block.samples["displacement_counts"].copy()
        )

    def _is_news(self, kind: str, number: int, count: int, wrap: int) -> bool:
        """Compare a running number with the one expected and tell whether what carries it is to be kept.

        A step forward is a loss: told, not an error. A step back is a frame that came twice or late; it is told and
        left out, so that what is stored and what is reported lost always add up to what was sent.
        """
        expected = self._expected.get(kind, number)
        ahead = (number - expected + wrap // 2) % wrap - wrap // 2
        if ahead < 0:
            self._sink(Damage(self.last_tick_us, "repeated_or_late", 1, f"number {number} after {expected - 1}"))
            return False
        self._expected[kind] = (number + count) % wrap
        if ahead:
            self._sink(Damage(self.last_tick_us, kind, ahead, f"{ahead} missing before number {number}"))
        return True
