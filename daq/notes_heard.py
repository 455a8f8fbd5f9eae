"""How often the key in hand has sounded, counted live, for steps that choose the next press by it.

How it works: it listens to what the recorder hears. MIDI bytes go through the same parser as in the analysis; without
MIDI a contact or strike that closes counts. What was lost on the cable is counted too, since a lost note looks like
a silent key.
"""

from __future__ import annotations

from recordings.keys import Key
from recordings.midi import MidiParser
from recordings.types import CONTACT, HOST_MIDI, MIDI_IN, STRIKE, Damage, RawEvents, RawTrace


class NotesHeard:
    """Note-ons of one key since listening began."""

    def __init__(self, key: Key) -> None:
        self._key = key
        self._parsers = {MIDI_IN: MidiParser(), HOST_MIDI: MidiParser()}
        self._midi, self._edges = 0, 0
        self.others: list[int] = []
        """Note numbers of other keys that have sounded."""
        self.lost = 0
        """Reports of events that went missing, or of bytes that may have held some."""

    @property
    def count(self) -> int:
        """Note-ons of this key: by MIDI if there is any, else contacts closed."""
        return self._midi or self._edges

    def listen(self, news: RawTrace | RawEvents | Damage) -> None:
        """Take what the recorder hears."""
        if isinstance(news, Damage):
            self.lost += news.kind in ("lost_events", "lost_frames", "damaged_bytes")
        if not isinstance(news, RawEvents):
            return
        for source, parser in self._parsers.items():
            here = news.source == source
            notes = parser.feed(news.tick_us[here].tolist(), news.byte[here].tolist())
            self._midi += sum(note.on and note.note == self._key.note for note in notes)
            self.others += [note.note for note in notes if note.on and note.note != self._key.note]
        edges = (news.source == CONTACT) | (news.source == STRIKE)
        self._edges += int((news.byte[edges] == 1).sum())
