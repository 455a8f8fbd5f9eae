"""Takes what the link hears and makes it safe: journal at once, a part at the end of every stroke."""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np

from recordings.keys import Key
from recordings.partial import PartialRecording
from recordings.types import Damage, KeyRecording, Mark, RawEvents, RawTrace, join

EMPTY_TRACE = RawTrace(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0, np.int32))


class Recorder:
    """Between the link's thread, which adds, and the survey's, which says where a stroke begins and ends."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._file: PartialRecording | None = None
        self._key: Key | None = None
        self._pieces: list[KeyRecording] = []
        self._newest: list[RawTrace] = []
        self.sample_count = 0
        self.damage_count = 0

    def open(self, file: PartialRecording) -> None:
        """Record into this file from the next key on."""
        self._file = file

    def add(self, news: RawTrace | RawEvents | Damage) -> None:
        """Take samples, events or damage; between keys only damage is counted."""
        with self._lock:
            self.damage_count += isinstance(news, Damage)
            if self._key is None or self._file is None:
                return
            piece = _piece(self._key, news)
            self._file.note(piece)
            self._pieces.append(piece)
            self.sample_count += len(piece.trace)
            if isinstance(news, RawTrace):
                self._newest.append(news)

    def begin_key(self, key: Key) -> None:
        """Record for this key from now on."""
        with self._lock:
            self._key, self._pieces, self._newest = key, [], []

    def force_counts_since_last_call(self) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
        """Return the force counts that have come since this was last asked, shape (N,)."""
        with self._lock:
            newest, self._newest = self._newest, []
        return np.concatenate([trace.force_counts for trace in newest]) if newest else np.empty(0, np.int32)

    def end_stretch(self, name: str) -> None:
        """Make safe what has come since the last call, marked with a name."""
        with self._lock:
            if self._key is None or self._file is None:
                return
            pieces, self._pieces = tuple(self._pieces), []
            number = self._file.turn_over()
        samples = [piece.trace.sample_number for piece in pieces if len(piece.trace)]
        if samples:
            stretch = join(pieces)
            mark = Mark(name, int(samples[0][0]), int(samples[-1][-1]))
            self._file.keep(number, replace(stretch, marks=(mark,)))

    def end_key(self, name: str) -> None:
        """Make safe the rest of the key; what comes until the next key is not recorded."""
        self.end_stretch(name)
        with self._lock:
            self._key = None


def _piece(key: Key, news: RawTrace | RawEvents | Damage) -> KeyRecording:
    match news:
        case RawTrace():
            return KeyRecording(key, news, RawEvents.none())
        case RawEvents():
            return KeyRecording(key, EMPTY_TRACE, news)
        case Damage():
            return KeyRecording(key, EMPTY_TRACE, RawEvents.none(), damage=(news,))
