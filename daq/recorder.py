"""Takes what the link hears and makes it safe: journal at once, a part at the end of every stroke."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import numpy as np

from recordings.journal import Journal
from recordings.keys import Key
from recordings.midi import FIRST_REALTIME, FIRST_STATUS, FIRST_SYSTEM
from recordings.partial import PartialRecording
from recordings.types import HOST_MIDI, MIDI_IN, Damage, DiaryEntry, KeyRecording, Mark, RawEvents, RawTrace

News = RawTrace | RawEvents | Damage


class Recorder:
    """Between the link's thread, which adds, and the survey's, which says where a stroke begins and ends."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._file: PartialRecording | None = None
        self._key: Key | None = None
        self._samples: tuple[int, int] | None = None
        """Numbers of the first and the last sample of the stretch under way."""
        self._between_keys: list[Damage] = []
        self._status = StatusInForce()
        self._listeners: list[Callable[[News], None]] = []
        self.sample_count = 0
        self.damage_count = 0

    def open(self, file: PartialRecording) -> None:
        """Record into this file from the next key on; what was on the cable before the greeting is not its damage."""
        with self._lock:
            self._file, self.damage_count = file, 0
            self._between_keys.clear()

    def close(self) -> None:
        """Record no more: what the link still hears is not kept. On return nothing writes to the file."""
        with self._lock:
            self._file = self._key = None

    def add(self, news: News) -> None:
        """Take samples, events or damage; between keys only damage is kept, for the next key. Raises CannotWrite."""
        with self._lock:
            for listener in self._listeners:
                listener(news)
            if isinstance(news, RawEvents):
                self._status.listen(news)
            self.damage_count += isinstance(news, Damage)
            if self._key is None or self._file is None:
                if isinstance(news, Damage):
                    self._between_keys.append(news)
                return
            self._file.note(_piece(self._key, news))
            if isinstance(news, RawTrace) and len(news):
                self.sample_count += len(news)
                first = self._samples[0] if self._samples else int(news.sample_number[0])
                self._samples = (first, int(news.sample_number[-1]))

    @contextmanager
    def listening(self, listener: Callable[[News], None]) -> Iterator[None]:
        """Give a listener everything that comes while the block lasts, in the link's thread."""
        with self._lock:
            self._listeners.append(listener)
        try:
            yield
        finally:
            with self._lock:
                self._listeners.remove(listener)

    def begin_key(self, key: Key) -> None:
        """Record for this key from now on."""
        with self._lock:
            self._key, self._samples = key, None
            if self._file is None:
                return
            status = self._status.events()
            if len(status.tick_us):
                self._file.note(_piece(key, status))
            if self._between_keys:
                self._file.note(KeyRecording(key, RawTrace.none(), RawEvents.none(), damage=tuple(self._between_keys)))
                self._between_keys.clear()

    def end_stretch(self, name: str, step: str = "") -> None:
        """Make safe what has come since the last call, marked with a name and the kind of step it belongs to."""
        with self._lock:
            self._mark(name, step)
            ended = self._file.turn_over() if self._key is not None and self._file is not None else None
        self._keep(ended)

    def end_key(self, name: str, outcome: str) -> None:
        """Make safe the rest of the key and that it is done; what comes until the next key is not recorded.

        outcome: `recorded`, `missed` or `skipped`.
        """
        with self._lock:
            self._mark(name, "")
            ended = None
            if self._key is not None and self._file is not None:
                self._file.mark_done(self._key, outcome)
                ended = self._file.turn_over()
            self._key = None
        self._keep(ended)

    def set_aside(self, reason: str) -> None:
        """Keep what there is of the key in hand apart from what will be measured; the key is to begin again."""
        with self._lock:
            if self._key is not None and self._file is not None:
                self._file.set_aside(self._key, reason)
            self._key = self._samples = None

    def write_diary(self, kind: str, text: str, facts: str = "") -> None:
        """Keep an entry of the recording's diary, stamped now. facts: the same as JSON, for programs."""
        entry = DiaryEntry(datetime.now(UTC), kind, text, facts)
        with self._lock:
            if self._file is not None:
                self._file.write_diary(entry)

    def _mark(self, name: str, step: str) -> None:
        if self._samples and self._key is not None and self._file is not None:
            mark = Mark(name, *self._samples, step)
            self._file.note(KeyRecording(self._key, RawTrace.none(), RawEvents.none(), (mark,)))
        self._samples = None

    def _keep(self, ended: Journal | None) -> None:
        """Force a stretch to the disk, without the lock: the link goes on meanwhile."""
        if ended is not None and self._file is not None:
            self._file.keep(ended)


class StatusInForce:
    """Remembers the last channel status byte of each MIDI input, with its tick.

    Under running status a keyboard may say it once and never again: a key's recording that began later could not be
    read without it. It is a byte that came, at the time when it came; nothing is made up.
    """

    def __init__(self) -> None:
        self._last: dict[int, tuple[int, int]] = {}

    def listen(self, events: RawEvents) -> None:
        """Take what has come."""
        is_status = (
            (events.byte >= FIRST_STATUS)
            & (events.byte < FIRST_REALTIME)
            & np.isin(events.source, (MIDI_IN, HOST_MIDI))
        )
        for place in np.flatnonzero(is_status).tolist():
            self._last[int(events.source[place])] = int(events.tick_us[place]), int(events.byte[place])

    def events(self) -> RawEvents:
        """Return the bytes in force, as events; system messages have cancelled theirs."""
        rows = sorted((tick, source, byte) for source, (tick, byte) in self._last.items() if byte < FIRST_SYSTEM)
        ticks, sources, status = zip(*rows, strict=True) if rows else ((), (), ())
        return RawEvents(np.array(ticks, np.int64), np.array(sources, np.uint8), np.array(status, np.uint8))


def _piece(key: Key, news: News) -> KeyRecording:
    match news:
        case RawTrace():
            return KeyRecording(key, news, RawEvents.none())
        case RawEvents():
            return KeyRecording(key, RawTrace.none(), news)
        case Damage():
            return KeyRecording(key, RawTrace.none(), RawEvents.none(), damage=(news,))
