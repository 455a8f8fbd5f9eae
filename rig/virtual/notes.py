"""The note sensor of a virtual key: when it says on, off, and when it is ready again.

How it works: passing `on_mm` downward while armed sends a note-on and disarms; rising above `off_mm` sends the
note-off; rising above `rearm_mm` arms it again. If `rearm_mm` lies above `off_mm` the note stops before the key can
repeat. Every message leaves `latency_s` after its cause; each MIDI byte takes 320 us on the wire (31250 Bd, 10 bits).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log

MIDI_BYTE_US = 320
NOTE_ON, NOTE_OFF = 0x90, 0x80
SPEED_OVER_MM = 1.0
"""The sensor times the last millimetre before `on_mm`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteSpec:
    """Places in mm of the key's own way, and the latency."""

    on_mm: float
    off_mm: float
    rearm_mm: float
    latency_s: float


def velocity_of(speed_mm_per_s: float) -> int:
    """Return the MIDI velocity 1..127 for a key speed: logarithmic from 5 mm/s to 1000 mm/s (invented law)."""
    share = log(max(speed_mm_per_s, 5.0) / 5.0) / log(1000.0 / 5.0)
    return max(1, min(127, round(1 + 126 * share)))


class NoteSensor:
    """Watches one key; `watch` returns the stamped bytes that a step of the motion has caused."""

    def __init__(self, spec: NoteSpec, midi_note: int) -> None:
        self.spec = spec
        self.midi_note = midi_note
        self.armed, self.sounding = True, False
        self._timing_since_us = 0
        self._before_mm = 0.0

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
                return list(self._say(NOTE_ON, velocity_of(SPEED_OVER_MM / took_s), now_us))
            return []
        said: list[tuple[int, int]] = []
        if self.sounding and key_mm <= spec.off_mm:
            self.sounding = False
            said = list(self._say(NOTE_OFF, 64, now_us))
        if key_mm <= spec.rearm_mm:
            self.armed = True
        return said

    def _say(self, status: int, velocity: int, now_us: int) -> Iterator[tuple[int, int]]:
        starts_us = now_us + round(self.spec.latency_s * 1e6)
        for place, byte in enumerate((status, self.midi_note, velocity)):
            yield starts_us + (place + 1) * MIDI_BYTE_US, byte
