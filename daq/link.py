"""The host's end of the cable: one thread that reads, decodes, counts damage and sorts what it hears.

How it works: samples, events and damage go to the sink as they come (in the reader's thread); replies go into a queue
where the session waits for them. A second thread sends the heartbeat, since the reader may wait for the disk; it beats
only while the reader lives, so the rig's watchdog also guards against a host that no longer listens. Whatever ends the
reader (the port is gone, the sink cannot write) is handed to whoever waits for the rig.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable

import serial
from serial.urlhandler.protocol_socket import Serial as SocketPort

from daq.errors import PortLost
from daq.tally import StreamTally
from recordings.types import Damage, RawEvents, RawTrace
from rig.protocol.frames import DamagedBytes, Frame, FrameDecoder, encode_frame
from rig.protocol.messages import Ack, EventBlock, Heartbeat, Hello, Message, Nak, SampleBlock, StreamEnd

HEARTBEAT_EVERY_S = 0.05
READ_BYTES = 4096
FULL_BUFFER_BYTES, MORE_BYTES = 4095, 122_880
"""What a POSIX terminal holds for its reader; and how much more is waited for, within the timeout, if it was full."""
TELL_DAMAGE_EVERY_S = 1.0
"""Bytes that make no frame are told together until a frame comes or this has passed: babble must not fill the disk."""
PORT_TROUBLE = (serial.SerialException, OSError, TypeError)
"""What a port that is gone raises; TypeError: it was closed while it was being read."""

Sink = Callable[[RawTrace | RawEvents | Damage], None]


class Link:
    """An open cable. `close` it, or use it in a `with` block."""

    def __init__(self, port: serial.Serial, sink: Sink, tally: StreamTally | None = None) -> None:
        """tally: that of an earlier link to the same rig, so that what was lost in between is counted."""
        self._port, self._sink = port, sink
        self._tally = tally or StreamTally(sink)
        self._decoder = FrameDecoder()
        self._replies: queue.SimpleQueue[Message | Exception] = queue.SimpleQueue()
        self._writing, self._sequence = threading.Lock(), 0
        self._closing = threading.Event()
        self._damage: tuple[int, str, float] | None = None
        self._failure: Exception | None = None
        self.heard_at_s = time.monotonic()
        """The host's clock when the last whole frame arrived."""
        self.bytes_without_sense = 0
        """Received since the last whole frame."""
        self._reader = threading.Thread(target=self._read, name="link reader", daemon=True)
        self._beater = threading.Thread(target=self._beat, name="link heartbeat", daemon=True)
        self._reader.start()
        self._beater.start()

    def __enter__(self) -> Link:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def last_tick_us(self) -> int:
        """The rig's clock at the newest sample."""
        return self._tally.last_tick_us

    def close(self) -> None:
        """Stop reading and close the port; harmless if already closed."""
        self._closing.set()
        self._reader.join()
        self._beater.join()
        self._port.close()

    def next_sequence(self) -> int:
        """Return the number for a new message."""
        with self._writing:
            sequence, self._sequence = self._sequence, (self._sequence + 1) & 0xFFFF
        return sequence

    def send(self, message: Message, sequence: int | None = None) -> int:
        """Send a message and return its sequence number; the same number again repeats it. Raises PortLost."""
        sequence = self.next_sequence() if sequence is None else sequence
        with self._writing:
            try:
                self._port.write(encode_frame(message, sequence))
            except (serial.SerialException, OSError) as fault:
                raise PortLost(str(fault)) from fault
        return sequence

    def next_reply(self, timeout_s: float) -> Message | None:
        """Return the next reply (anything but samples and events), None after timeout_s. Raises as `check`."""
        try:
            reply = self._replies.get(timeout=timeout_s)
        except queue.Empty:
            return None
        if isinstance(reply, Exception):
            raise reply
        return reply

    def check(self) -> None:
        """Raise what has ended the reader: PortLost, or what the sink has raised."""
        if self._failure is not None:
            raise self._failure

    def _read(self) -> None:
        try:
            while not self._closing.is_set():
                self._take(self._receive())
            self._tell_damage()
        except Exception as failure:  # whatever it is, whoever waits for the rig must hear it
            self._failure = failure
            self._replies.put(failure)

    def _receive(self) -> bytes:
        """Return what is there, or what comes within the port's timeout.

        A read that has emptied a full buffer is followed by a longer one: the rig is fast then, and a large piece
        costs less to store.
        """
        try:
            if isinstance(self._port, SocketPort):  # its `in_waiting` says only yes or no
                return self._port.read(READ_BYTES)
            received = self._port.read(max(1, self._port.in_waiting))
            return received if len(received) < FULL_BUFFER_BYTES else received + self._port.read(MORE_BYTES)
        except PORT_TROUBLE as fault:
            raise PortLost(str(fault)) from fault

    def _take(self, received: bytes) -> None:
        self.bytes_without_sense += len(received)
        for item in self._decoder.feed(received):
            self._sort(item)
        if self._damage is not None and time.monotonic() - self._damage[2] > TELL_DAMAGE_EVERY_S:
            self._tell_damage()

    def _beat(self) -> None:
        while not self._closing.wait(HEARTBEAT_EVERY_S) and self._reader.is_alive():
            try:
                self.send(Heartbeat())
            except PortLost:  # the reader tells it
                return

    def _sort(self, item: Frame | DamagedBytes) -> None:
        if isinstance(item, DamagedBytes):
            length, reason, since_s = self._damage or (0, item.reason, time.monotonic())
            self._damage = (length + item.length, reason, since_s)
            return
        self._tell_damage()
        self.heard_at_s, self.bytes_without_sense = time.monotonic(), 0
        message = item.message
        if isinstance(message, Hello):  # first of all: after a restart the numbers begin anew
            self._tally.greeted(message)
        news = self._tally.frame_is_news(item.sequence, item.count)
        if isinstance(message, Hello | Ack | Nak) or news:  # an answer carries its command's number: twice is harmless
            self._pass_on(message)

    def _pass_on(self, message: Message) -> None:
        match message:
            case SampleBlock():
                self._to_sink(self._tally.trace(message))
            case EventBlock():
                self._to_sink(self._tally.events(message))
            case StreamEnd():
                self._tally.ended(message)
            case _:
                self._replies.put(message)

    def _to_sink(self, news: RawTrace | RawEvents | None) -> None:
        if news is not None:
            self._sink(news)

    def _tell_damage(self) -> None:
        if self._damage is not None:
            (length, reason, _), self._damage = self._damage, None
            self._tally.damaged(length, reason)
