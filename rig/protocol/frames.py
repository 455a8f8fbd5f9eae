"""Frames in a stream of bytes.

How it works: a frame is COBS(kind u8, sequence u16, payload, CRC-32 u32) followed by one zero byte (Cheshire & Baker
1999). A zero byte therefore always ends a frame and never stands inside one, so after any damage the decoder is back
in step at the next zero. What does not decode comes out as DamagedBytes with a reason; it is never repaired.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from struct import Struct

from cobs import cobs

from rig.protocol.messages import Message
from rig.protocol.table import MalformedPayload, pack, unpack

LONGEST_FRAME = 16 * 1024
"""Bytes before the closing zero; the longest frame a rig may send. More without a zero is noise, not a frame."""

_HEAD = Struct("<BH")
_CHECK = Struct("<I")


@dataclass(frozen=True, slots=True)
class Frame:
    """One whole, checked frame: the sender's sequence number (0..65535, wraps) and what it said."""

    sequence: int
    message: Message


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
    try:
        checked = cobs.decode(encoded)
    except cobs.DecodeError as doubt:
        return DamagedBytes(len(encoded), f"COBS: {doubt}")
    if len(checked) < _HEAD.size + _CHECK.size:
        return DamagedBytes(len(encoded), "too short for a frame")
    body = checked[: -_CHECK.size]
    if zlib.crc32(body) != _CHECK.unpack(checked[-_CHECK.size :])[0]:
        return DamagedBytes(len(encoded), "CRC-32 does not match")
    kind, sequence = _HEAD.unpack_from(body)
    try:
        return Frame(sequence, unpack(kind, body[_HEAD.size :]))
    except MalformedPayload as doubt:
        return DamagedBytes(len(encoded), str(doubt))


class FrameDecoder:
    """Turns received bytes, in pieces of any size, into frames and damage. Memory is bounded by LONGEST_FRAME."""

    def __init__(self) -> None:
        self._waiting = b""
        self._thrown_away = 0

    def feed(self, received: bytes) -> list[Frame | DamagedBytes]:
        """Return everything that `received` completes, in the order it was sent."""
        *closed, self._waiting = (self._waiting + received).split(b"\x00")
        complete = [item for encoded in closed if (item := self._close(encoded)) is not None]
        if len(self._waiting) > LONGEST_FRAME:
            self._thrown_away += len(self._waiting)
            self._waiting = b""
        return complete

    def _close(self, encoded: bytes) -> Frame | DamagedBytes | None:
        if self._thrown_away or len(encoded) > LONGEST_FRAME:
            length, self._thrown_away = self._thrown_away + len(encoded), 0
            return DamagedBytes(length, "no zero byte for longer than a frame can be")
        if not encoded:  # two zeros in a row: a sender may open with a zero to flush the line
            return None
        return decode_frame(encoded)
