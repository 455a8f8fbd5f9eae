"""Everything that can be said over the cable, one small dataclass a message.

Units are in the names. Ticks are the rig's own clock in integer microseconds; they are 32 bits wide and wrap
after 71.6 minutes, so the host unwraps them (`daq/clock.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

SAMPLE_DTYPE = np.dtype([("tick_us", "<u4"), ("force_counts", "<i4"), ("displacement_counts", "<i4")])
"""One sample as it lies in a SampleBlock: 12 bytes, little-endian."""

EVENT_DTYPE = np.dtype([("tick_us", "<u4"), ("source", "u1"), ("byte", "u1")])
"""One event as it lies in an EventBlock: 6 bytes, little-endian."""


class Axis(IntEnum):
    """What a Move moves."""

    PLUNGER = 0
    CARRIAGE = 1


class Source(IntEnum):
    """Where the byte of an event comes from."""

    MIDI_IN = 0
    CONTACT = 1
    STRIKE = 2
    FOOT_SWITCH = 3


class State(IntEnum):
    """What an axis is doing."""

    IDLE = 0
    MOVING = 1
    STOPPED = 2


class Cause(IntEnum):
    """Why an axis came to rest, or why it moves."""

    NONE = 0
    TARGET_REACHED = 1
    FORCE_LIMIT = 2
    TRAVEL_LIMIT = 3
    STOP_COMMAND = 4
    HOST_SILENT = 5


class Refusal(IntEnum):
    """Why a command was refused."""

    UNKNOWN_COMMAND = 1
    NO_SUCH_AXIS = 2
    OUT_OF_RANGE = 3
    BUSY = 4
    NOT_GREETED = 5


@dataclass(frozen=True, slots=True)
class Greet:
    """Host: who are you? Always the first command; the rig answers Hello, one Channel per channel, then Ack."""

    protocol_version: int


@dataclass(frozen=True, slots=True)
class StartStream:
    """Host: send samples and events from now on."""


@dataclass(frozen=True, slots=True)
class StopStream:
    """Host: send no more samples or events."""


@dataclass(frozen=True, slots=True)
class Move:
    """Host: bring an axis to a place. Plunger in um, downward positive; carriage in stations, one per key (1..88)."""

    axis: int
    target: int
    speed_um_per_s: int
    acceleration_um_per_s2: int
    force_limit_mn: int


@dataclass(frozen=True, slots=True)
class Stop:
    """Host: stop every axis now. May be sent at any time and any number of times."""


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Host: I am still here. A rig that hears nothing while it moves stops by itself."""


@dataclass(frozen=True, slots=True)
class Hello:
    """Rig: this is what I am."""

    protocol_version: int
    model: str
    serial_number: str
    firmware: str
    sample_rate_mhz: int
    """Samples per second, times 1000."""
    channel_count: int
    axis_count: int
    compliance_nm_per_newton: int
    """How far frame and plunger give under load, as the rig's maker states it."""


@dataclass(frozen=True, slots=True)
class Channel:
    """Rig: one of my channels; physical value = (counts - zero_counts) / counts_per_unit."""

    index: int
    name: str
    unit: str
    counts_per_unit: float
    zero_counts: int
    delay_us: int
    """Group delay: a sample shows what was true this long before its tick."""
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True, eq=False)
class SampleBlock:
    """Rig: some samples, oldest first. The first carries its running number, so a lost block shows as a gap."""

    first_sample_number: int
    samples: NDArray[np.void]
    """(N,) of SAMPLE_DTYPE."""

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, SampleBlock)
            and self.first_sample_number == other.first_sample_number
            and np.array_equal(self.samples, other.samples)
        )


@dataclass(frozen=True, slots=True, eq=False)
class EventBlock:
    """Rig: bytes and edges from the note inputs, each with its own stamp, oldest first."""

    first_event_number: int
    events: NDArray[np.void]
    """(N,) of EVENT_DTYPE."""

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, EventBlock)
            and self.first_event_number == other.first_event_number
            and np.array_equal(self.events, other.events)
        )


@dataclass(frozen=True, slots=True)
class Status:
    """Rig: an axis has started, has come to rest, or was stopped, and why."""

    tick_us: int
    axis: int
    state: int
    cause: int
    position: int


@dataclass(frozen=True, slots=True)
class Ack:
    """Rig: the command with this sequence number is accepted."""

    sequence: int


@dataclass(frozen=True, slots=True)
class Nak:
    """Rig: the command with this sequence number is refused, and why (see Refusal)."""

    sequence: int
    reason: int


Message = (
    Greet | StartStream | StopStream | Move | Stop | Heartbeat
    | Hello | Channel | SampleBlock | EventBlock | Status | Ack | Nak
)  # fmt: skip
