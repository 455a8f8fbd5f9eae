"""Frames in a stream of bytes.

How it works: a frame is COBS(kind u8, sequence u16, payload, CRC-32 u32) followed by one zero byte (Cheshire & Baker
1999). A zero byte therefore always ends a frame and never stands inside one, so after any damage the decoder is back
in step at the next zero. What does not decode comes out as DamagedBytes with a reason; it is never repaired. Frames
with samples that follow each other without a gap come out as one, since a large block costs the host as little as a
small one: that is what makes fast rigs possible.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from struct import Struct

import numpy as np
from cobs import cobs

from rig.protocol.messages import SAMPLE_DTYPE, Hello, Message, SampleBlock
from rig.protocol.table import ROW_OF_MESSAGE, MalformedPayload, pack, unpack

LONGEST_FRAME = 16 * 1024
"""Bytes before the closing zero; the longest frame a rig may send. More without a zero is noise, not a frame."""

_HEAD = Struct("<BH")
_CHECK = Struct("<I")
_SAMPLES_HEAD = Struct("<BHI")
"""Head of a frame with samples: kind, sequence, number of the first sample."""
_SAMPLES_KIND = ROW_OF_MESSAGE[SampleBlock].kind


@dataclass(frozen=True, slots=True)
class Frame:
    """One whole, checked frame: the sender's sequence number (0..65535, wraps) and what it said."""

    sequence: int
    message: Message
    count: int = 1
    """Of frames that this one stands for, with sequence numbers from `sequence` upward."""


@dataclass(frozen=True, slots=True)
class DamagedBytes:
    """Bytes between two zeros that are no frame, and why not."""

    length: int
    reason: str


def encode_frame(message: Message, sequence: int) -> bytes:
    """Return the bytes that carry a message, closing zero included. sequence: 0..65535."""
    kind, payload = pack(message)
    body = _HEAD.pack(kind, sequence) + payload
    return bytes(cobs.encode(body + _CHECK.pack(zlib.crc32(body)))) + b"\x00"


def decode_frame(encoded: bytes) -> Frame | DamagedBytes:
    """Return what stands between two zeros (`encoded` holds neither)."""
    body = _checked_body(encoded)
    return body if isinstance(body, DamagedBytes) else _frame_in(body, len(encoded))


def _checked_body(encoded: bytes) -> bytes | DamagedBytes:
    try:
        checked = cobs.decode(encoded)
    except cobs.DecodeError as doubt:
        return DamagedBytes(len(encoded), f"COBS: {doubt}")
    if len(checked) < _HEAD.size + _CHECK.size:
        return DamagedBytes(len(encoded), "too short for a frame")
    body = checked[: -_CHECK.size]
    if zlib.crc32(body) != _CHECK.unpack_from(checked, len(body))[0]:
        return DamagedBytes(len(encoded), "CRC-32 does not match")
    return bytes(body)


def _frame_in(body: bytes, length: int) -> Frame | DamagedBytes:
    kind, sequence = _HEAD.unpack_from(body)
    try:
        return Frame(sequence, unpack(kind, body[_HEAD.size :]))
    except MalformedPayload as doubt:
        return DamagedBytes(length, str(doubt))


class _Run:
    """Frames with samples, each going on where the one before has ended; remembers where the next would go on."""

    def __init__(self) -> None:
        self._rows: list[bytes] = []
        self._first: tuple[int, int] = (0, 0)
        self._next: tuple[int, int] | None = None
        """Sequence and sample number of the frame that would go on; None: any may begin."""

    def take(self, body: bytes) -> bool:
        """Add a frame's body if it goes on from here; False: it comes alone, or holds no samples.

        One that was heard before must not begin a run: what follows it is new, and the two would be judged as one.
        """
        if body[0] != _SAMPLES_KIND or len(body) < _SAMPLES_HEAD.size:
            return False
        samples, rest = divmod(len(body) - _SAMPLES_HEAD.size, SAMPLE_DTYPE.itemsize)
        _, sequence, number = _SAMPLES_HEAD.unpack_from(body)
        goes_on = not rest and self._next in (None, (sequence, number))
        if not self._rows:
            self._first = sequence, number
        if goes_on:
            self._rows.append(body[_SAMPLES_HEAD.size :])
        if goes_on or self._is_ahead(sequence):
            self._next = (sequence + 1) & 0xFFFF, (number + samples) & 0xFFFFFFFF
        return goes_on

    def _is_ahead(self, sequence: int) -> bool:
        return self._next is not None and (sequence - self._next[0]) & 0xFFFF < 0x8000

    def end(self) -> list[Frame | DamagedBytes]:
        """Return the run as one frame, if there is one."""
        if not self._rows:
            return []
        rows, self._rows = self._rows, []
        sequence, number = self._first
        return [Frame(sequence, SampleBlock(number, np.frombuffer(b"".join(rows), SAMPLE_DTYPE)), len(rows))]

    def follow(self, sequence: int, *, anew: bool) -> None:
        """Take note of a frame of another kind; anew: the sender counts from here."""
        if anew:
            self._next = None
        elif self._next is not None and self._next[0] == sequence:
            self._next = (sequence + 1) & 0xFFFF, self._next[1]


class FrameDecoder:
    """Turns received bytes, in pieces of any size, into frames and damage. Memory is bounded by LONGEST_FRAME."""

    def __init__(self) -> None:
        self._waiting = b""
        self._thrown_away = 0
        self._run = _Run()

    def feed(self, received: bytes) -> list[Frame | DamagedBytes]:
        """Return everything that `received` completes, in the order it was sent."""
        *closed, self._waiting = (self._waiting + received).split(b"\x00")
        items: list[Frame | DamagedBytes] = []
        for encoded in closed:
            body = self._body(encoded)
            if body is None or (isinstance(body, bytes) and self._run.take(body)):
                continue
            items += self._run.end()
            items.append(self._alone(body, len(encoded)))
        if len(self._waiting) > LONGEST_FRAME:
            self._thrown_away += len(self._waiting)
            self._waiting = b""
        return items + self._run.end()

    def _alone(self, body: bytes | DamagedBytes, length: int) -> Frame | DamagedBytes:
        item = body if isinstance(body, DamagedBytes) else _frame_in(body, length)
        if isinstance(item, Frame):
            self._run.follow(item.sequence, anew=isinstance(item.message, Hello))
        return item

    def _body(self, encoded: bytes) -> bytes | DamagedBytes | None:
        if self._thrown_away or len(encoded) > LONGEST_FRAME:
            length, self._thrown_away = self._thrown_away + len(encoded), 0
            return DamagedBytes(length, "no zero byte for longer than a frame can be")
        if not encoded:  # two zeros in a row: a sender may open with a zero to flush the line
            return None
        return _checked_body(encoded)
