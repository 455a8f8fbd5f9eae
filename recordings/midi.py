"""MIDI bytes -> note messages, in pieces of any size.

How it works: a status byte begins a message, data bytes fill it, and a full message is read by mido. The status stays
in force for further data bytes (running status, which mido's own parser forgets) until another channel status takes
its place or a system exclusive or system common message cancels it; real-time bytes may stand anywhere and change
nothing. Controller 88 carries the low seven bits of the velocity of the next note message on its channel, note-on or
note-off, and is forgotten with that message.
Sources: MIDI 1.0 detailed specification (IEC 63035:2017), running status and real-time messages; MMA CA-031, high
resolution velocity prefix (both from memory; the prefix also as instruments' MIDI implementation pages tell it).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import mido

FIRST_STATUS, FIRST_SYSTEM, FIRST_REALTIME = 0x80, 0xF0, 0xF8
ONE_DATA_BYTE = (0xC0, 0xD0)
"""Program change and channel pressure; all other channel messages have two."""
HIGH_RESOLUTION_VELOCITY = 88
LOW_STEPS = 128
"""Low steps in one step of the seven-bit velocity."""


@dataclass(frozen=True, slots=True)
class NoteMessage:
    """A note that begins or ends."""

    tick_us: int
    """When its first byte arrived: the status, or under running status the note number."""
    channel: int
    """0..15, one less than people count."""
    note: int
    on: bool
    velocity: float | None
    """In steps of seven-bit velocity, so 64.5 is 8256 of 16384; a multiple of 1/128. None: a note-off written as a
    note-on with velocity 0 tells no release velocity."""


class MidiParser:
    """Turns the bytes of one MIDI input, in pieces of any size, into note messages."""

    def __init__(self) -> None:
        self.running_status: int | None = None
        """The channel status in force for data bytes without one; None: they cannot be read."""
        self.orphan_bytes = 0
        """Data bytes that came before any status byte: their message began before we listened."""
        self._heard_status = False
        self._data: list[int] = []
        self._began_us: int | None = None
        self._low_steps: dict[int, int] = {}

    def feed(self, ticks_us: Iterable[int], received: Iterable[int]) -> list[NoteMessage]:
        """Return the note messages that these bytes complete, in the order in which they came.

        ticks_us: when each byte arrived, as many as `received` (ValueError otherwise). Other messages are passed over.
        """
        notes = []
        for tick_us, byte in zip(ticks_us, received, strict=True):
            note = self._take(int(tick_us), int(byte))
            if note is not None:
                notes.append(note)
        return notes

    def _take(self, tick_us: int, byte: int) -> NoteMessage | None:
        if byte >= FIRST_REALTIME:
            return None
        if byte >= FIRST_STATUS:
            self._heard_status, self._data, self._began_us = True, [], tick_us
            self.running_status = byte if byte < FIRST_SYSTEM else None
            return None
        if self.running_status is None:
            self.orphan_bytes += not self._heard_status
            return None
        if self._began_us is None:  # running status: this byte begins a message
            self._began_us = tick_us
        self._data.append(byte)
        if len(self._data) < (1 if self.running_status & 0xF0 in ONE_DATA_BYTE else 2):
            return None
        began_us, message = self._began_us, mido.Message.from_bytes([self.running_status, *self._data])
        self._data, self._began_us = [], None
        return self._read(message, began_us)

    def _read(self, message: mido.Message, began_us: int) -> NoteMessage | None:
        if message.type == "control_change" and message.control == HIGH_RESOLUTION_VELOCITY:
            self._low_steps[message.channel] = message.value
        if message.type not in ("note_on", "note_off"):
            return None
        low_steps = self._low_steps.pop(message.channel, 0)
        off_by_velocity = message.type == "note_on" and message.velocity == 0
        velocity = None if off_by_velocity else message.velocity + low_steps / LOW_STEPS
        on = message.type == "note_on" and not off_by_velocity
        return NoteMessage(began_us, message.channel, message.note, on, velocity)
