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
    OVER_TRAVEL = 3
    """The switch at the end of the way was reached."""
    STOP_COMMAND = 4
    HOST_SILENT = 5
    STALL = 6
    """The plunger is not where the motor was told to bring it."""


class Lamp(IntEnum):
    """What a lamp says of the last stroke by hand."""

    WAITING = 0
    GOOD = 1
    AGAIN = 2


class Refusal(IntEnum):
    """Why a command was refused."""

    UNKNOWN_COMMAND = 1
    NO_SUCH_AXIS = 2
    OUT_OF_RANGE = 3
    BUSY = 4
    NOT_GREETED = 5
    NOT_HOMED = 6


@dataclass(frozen=True, slots=True)
class Greet:
    """Host: who are you? Always the first command; the rig answers Hello, one Channel per channel, then Ack."""

    protocol_version: int


@dataclass(frozen=True, slots=True)
class StartStream:
    """Host: send samples and events from now on."""


@dataclass(frozen=True, slots=True)
class StopStream:
    """Host: send no more samples or events; answered by StreamEnd, then Ack."""


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
    """Host: I am still here. Answered only by a rig that was never greeted: Nak, so a restart is soon known."""


@dataclass(frozen=True, slots=True)
class Home:
    """Host: bring the plunger up to its top switch and call that 0. Needed once after every start of the rig."""


@dataclass(frozen=True, slots=True)
class Swing:
    """Host: bring the plunger to `bottom` and back to `top`, `count` times, without waiting for me in between."""

    top_um: int
    bottom_um: int
    count: int
    speed_um_per_s: int
    acceleration_um_per_s2: int
    force_limit_mn: int
    """Reached on the way down, the plunger turns back at once."""


@dataclass(frozen=True, slots=True)
class Ask:
    """Host: tell the Status of an axis now; for a host that fears it has missed one."""

    axis: int


@dataclass(frozen=True, slots=True)
class Cue:
    """Host: what a person who presses by hand should do next; a rig with lamps shows it, any other says Ack."""

    station: int
    good: int
    """Good strokes so far."""
    wanted: int
    verdict: int
    """On the last stroke (see Lamp)."""


@dataclass(frozen=True, slots=True)
class Hello:
    """Rig: this is what I am. Said when greeted, and unasked after every start."""

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
    fastest_um_per_s: int
    hardest_um_per_s2: int
    """The most speed and acceleration that a Move may ask for."""
    start_count: int
    """How often the rig has started: a change in mid-survey means that it has restarted."""
    next_sample_number: int
    next_event_number: int
    """What the next sample and event will be numbered: counted over a restart, so that a loss just before it shows."""


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
    """Rig: an axis has come to rest or was stopped, and why; or, asked, what it is doing."""

    tick_us: int
    axis: int
    state: int
    cause: int
    position: int
    command: int
    """Sequence number of the Move, Home or Swing that this is about."""


@dataclass(frozen=True, slots=True)
class StreamEnd:
    """Rig: the stream has stopped, and these numbers would have come next: so a loss at the very end shows too."""

    next_sample_number: int
    next_event_number: int


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
    Greet | StartStream | StopStream | Move | Stop | Heartbeat | Home | Swing | Ask | Cue
    | Hello | Channel | SampleBlock | EventBlock | Status | StreamEnd | Ack | Nak
)  # fmt: skip
