"""The wire protocol as one table: encoder, decoder, tests and the page in DEVELOPERS.md all read it.

A payload is a struct of fixed fields in the order of the dataclass's fields, little-endian; two messages end in rows
of a numpy record. Text fields are UTF-8, padded with zero bytes.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import astuple, dataclass, fields
from struct import Struct

import numpy as np

from rig.protocol.messages import (
    EVENT_DTYPE,
    SAMPLE_DTYPE,
    Ack,
    Ask,
    Channel,
    Cue,
    EventBlock,
    Greet,
    Heartbeat,
    Hello,
    Home,
    Message,
    Move,
    Nak,
    SampleBlock,
    StartStream,
    Status,
    Stop,
    StopStream,
    StreamEnd,
    Swing,
)

PROTOCOL_VERSION = 2


class MalformedPayload(ValueError):
    """The payload does not fit its kind: wrong length, or text that is not UTF-8."""


@dataclass(frozen=True, slots=True)
class MessageRow:
    """One kind of message: its number on the wire, who says it, its class and how its fields are packed."""

    kind: int
    sender: str
    message: type[Message]
    fixed: Struct
    rows: np.dtype[np.void] | None = None


MESSAGE_TABLE = (
    #          kind  sender  message      payload, in the order of the dataclass's fields
    MessageRow(0x01, "host", Greet,       Struct("<H")),
    MessageRow(0x02, "host", StartStream, Struct("<")),
    MessageRow(0x03, "host", StopStream,  Struct("<")),
    MessageRow(0x04, "host", Move,        Struct("<BiIIi")),
    MessageRow(0x05, "host", Stop,        Struct("<")),
    MessageRow(0x06, "host", Heartbeat,   Struct("<")),
    MessageRow(0x07, "host", Home,        Struct("<")),
    MessageRow(0x08, "host", Swing,       Struct("<iiHIIi")),
    MessageRow(0x09, "host", Ask,         Struct("<B")),
    MessageRow(0x0A, "host", Cue,         Struct("<BBBB")),
    MessageRow(0x81, "rig",  Hello,       Struct("<H16s16s12sIBBIIIHII")),
    MessageRow(0x82, "rig",  Channel,     Struct("<B16s8sdiIdd")),
    MessageRow(0x83, "rig",  SampleBlock, Struct("<I"), SAMPLE_DTYPE),
    MessageRow(0x84, "rig",  EventBlock,  Struct("<I"), EVENT_DTYPE),
    MessageRow(0x85, "rig",  Status,      Struct("<IBBBiH")),
    MessageRow(0x86, "rig",  Ack,         Struct("<H")),
    MessageRow(0x87, "rig",  Nak,         Struct("<HB")),
    MessageRow(0x88, "rig",  StreamEnd,   Struct("<II")),
)  # fmt: skip

ROW_OF_KIND = {row.kind: row for row in MESSAGE_TABLE}
ROW_OF_MESSAGE = {row.message: row for row in MESSAGE_TABLE}


def pack(message: Message) -> tuple[int, bytes]:
    """Return the kind of a message and its payload. Raises struct.error if a number does not fit its field."""
    row = ROW_OF_MESSAGE[type(message)]
    if isinstance(message, SampleBlock):
        return row.kind, row.fixed.pack(message.first_sample_number) + message.samples.tobytes()
    if isinstance(message, EventBlock):
        return row.kind, row.fixed.pack(message.first_event_number) + message.events.tobytes()
    plain = (value.encode() if isinstance(value, str) else value for value in astuple(message))
    return row.kind, row.fixed.pack(*plain)


def unpack(kind: int, payload: bytes) -> Message:
    """Return the message in a payload. Raises MalformedPayload for an unknown kind or a payload that does not fit."""
    row = ROW_OF_KIND.get(kind)
    if row is None:
        raise MalformedPayload(f"unknown kind 0x{kind:02x}")
    build: Callable[..., Message] = row.message
    try:
        values = row.fixed.unpack_from(payload)
        rest = payload[row.fixed.size :]
        if row.rows is not None:
            return build(*values, np.frombuffer(rest, row.rows))
        if rest:
            raise MalformedPayload(f"{len(rest)} bytes too many for {row.message.__name__}")
        return build(*(_text(value) if isinstance(value, bytes) else value for value in values))
    except MalformedPayload:
        raise
    except (struct.error, ValueError) as doubt:  # too short, no UTF-8, or the rest is no whole number of rows
        raise MalformedPayload(f"{row.message.__name__}: {doubt}") from doubt


def _text(padded: bytes) -> str:
    return padded.rstrip(b"\x00").decode()


def field_names(row: MessageRow) -> tuple[str, ...]:
    """Names of a message's fields, in the order in which they are packed."""
    return tuple(field.name for field in fields(row.message))
