"""The note sensor of a virtual key: when it says on, off, and when it is ready again.

How it works: passing `on_mm` downward while armed sends a note-on and disarms; rising above `off_mm` sends the
note-off; rising above `rearm_mm` arms it again. If `rearm_mm` lies above `off_mm` the note stops before the key can
repeat. Every message leaves `latency_s` after its cause; each MIDI byte takes 320 us on the wire (31250 Bd, 10 bits).
How a keyboard may put its messages is up to it (MIDI 1.0, CA-031) and up to NoteSpec here. Not simulated: one running
status for the whole keyboard; each key says its status at its first note.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

MIDI_BYTE_US = 320
NOTE_ON, NOTE_OFF, CONTROL = 0x90, 0x80, 0xB0
HIGH_RESOLUTION_VELOCITY, LOW_STEPS = 88, 128
RELEASE_VELOCITY = 64
SPEED_OVER_MM = 1.0
"""The sensor times the last millimetre before `on_mm`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteSpec:
    """Places in mm of the key's own way, the latency, and the manner of its messages."""

    on_mm: float
    off_mm: float
    rearm_mm: float
    latency_s: float
    running_status: bool = False
    """A status byte that only repeats the last one is left out."""
    velocity_zero_off: bool = False
    """A note-off is written as a note-on with velocity 0."""
    high_resolution: bool = False
    """Controller 88 before each note-on carries seven more bits of its velocity."""
    stuck: bool = False
    """The note-off is never sent."""


def velocity_of(speed_mm_per_s: float) -> int:
    """Return the MIDI velocity 1..127 for a key speed: logarithmic from 5 mm/s to 1000 mm/s (invented law)."""
    return round(_velocity(speed_mm_per_s))


def velocity14_of(speed_mm_per_s: float) -> int:
    """Return the same in 14 bits, 128 (velocity 1) .. 16256 (velocity 127)."""
    return round(_velocity(speed_mm_per_s) * LOW_STEPS)


def _velocity(speed_mm_per_s: float) -> float:
    share = log(max(speed_mm_per_s, 5.0) / 5.0) / log(1000.0 / 5.0)
    return min(127.0, 1.0 + 126.0 * share)


class NoteSensor:
    """Watches one key; `watch` returns the stamped bytes that a step of the motion has caused."""

    def __init__(self, spec: NoteSpec, midi_note: int) -> None:
        self.spec = spec
        self.midi_note = midi_note
        self.armed, self.sounding = True, False
        self._timing_since_us = 0
        self._before_mm = 0.0
        self._last_status: int | None = None

    def watch(self, key_mm: float, now_us: int) -> list[tuple[int, int]]:
        """Return (tick_us, byte) for each byte sent because the key is now here."""
        before_mm, self._before_mm = self._before_mm, key_mm
        spec = self.spec
        if key_mm > before_mm:
            if before_mm < spec.on_mm - SPEED_OVER_MM <= key_mm:
                self._timing_since_us = now_us
            if self.armed and before_mm < spec.on_mm <= key_mm:
                self.armed, self.sounding = False, True
                took_s = max(now_us - self._timing_since_us, 1) * 1e-6
                return self._say(self._note_on(SPEED_OVER_MM / took_s), now_us)
            return []
        said: list[tuple[int, int]] = []
        if self.sounding and key_mm <= spec.off_mm:
            self.sounding = False
            said = self._say(self._note_off(), now_us)
        if key_mm <= spec.rearm_mm:
            self.armed = True
        return said

    def _note_on(self, speed_mm_per_s: float) -> list[tuple[int, int, int]]:
        if not self.spec.high_resolution:
            return [(NOTE_ON, self.midi_note, velocity_of(speed_mm_per_s))]
        velocity, low_steps = divmod(velocity14_of(speed_mm_per_s), LOW_STEPS)
        return [(CONTROL, HIGH_RESOLUTION_VELOCITY, low_steps), (NOTE_ON, self.midi_note, velocity)]

    def _note_off(self) -> list[tuple[int, int, int]]:
        if self.spec.stuck:
            return []
        if self.spec.velocity_zero_off:
            return [(NOTE_ON, self.midi_note, 0)]
        return [(NOTE_OFF, self.midi_note, RELEASE_VELOCITY)]

    def _say(self, messages: list[tuple[int, int, int]], now_us: int) -> list[tuple[int, int]]:
        sent: list[int] = []
        for status, *data in messages:
            repeats = self.spec.running_status and status == self._last_status
            sent += data if repeats else [status, *data]
            self._last_status = status
        starts_us = now_us + round(self.spec.latency_s * 1e6)
        return [(starts_us + place * MIDI_BYTE_US, byte) for place, byte in enumerate(sent, 1)]
