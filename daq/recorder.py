"""Takes what the link hears and makes it safe: journal at once, a part at the end of every stroke."""

from __future__ import annotations

import threading

import numpy as np

from recordings.journal import Journal
from recordings.keys import Key
from recordings.partial import PartialRecording
from recordings.types import Damage, KeyRecording, Mark, RawEvents, RawTrace


class Recorder:
    """Between the link's thread, which adds, and the survey's, which says where a stroke begins and ends."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._file: PartialRecording | None = None
        self._key: Key | None = None
        self._samples: tuple[int, int] | None = None
        """Numbers of the first and the last sample of the stretch under way."""
        self._newest: list[RawTrace] = []
        self.sample_count = 0
        self.damage_count = 0

    def open(self, file: PartialRecording) -> None:
        """Record into this file from the next key on; what was on the cable before the greeting is not its damage."""
        with self._lock:
            self._file, self.damage_count = file, 0

    def close(self) -> None:
        """Record no more: what the link still hears is not kept. On return nothing writes to the file."""
        with self._lock:
            self._file = self._key = None

    def add(self, news: RawTrace | RawEvents | Damage) -> None:
        """Take samples, events or damage; between keys only damage is counted."""
        with self._lock:
            self.damage_count += isinstance(news, Damage)
            if self._key is None or self._file is None:
                return
            piece = _piece(self._key, news)
            self._file.note(piece)
            if isinstance(news, RawTrace) and len(news):
                self.sample_count += len(news)
                self._newest.append(news)
                first = self._samples[0] if self._samples else int(news.sample_number[0])
                self._samples = (first, int(news.sample_number[-1]))

    def begin_key(self, key: Key) -> None:
        """Record for this key from now on."""
        with self._lock:
            self._key, self._samples, self._newest = key, None, []

    def force_counts_since_last_call(self) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
        """Return the force counts that have come since this was last asked, shape (N,)."""
        with self._lock:
            newest, self._newest = self._newest, []
        return np.concatenate([trace.force_counts for trace in newest]) if newest else np.empty(0, np.int32)

    def end_stretch(self, name: str) -> None:
        """Make safe what has come since the last call, marked with a name."""
        with self._lock:
            ended = self._turn_over(name)
        self._keep(ended)

    def end_key(self, name: str) -> None:
        """Make safe the rest of the key; what comes until the next key is not recorded."""
        with self._lock:
            ended, self._key = self._turn_over(name), None
        self._keep(ended)

    def _turn_over(self, name: str) -> Journal | None:
        if self._key is None or self._file is None:
            return None
        if self._samples:
            self._file.note(KeyRecording(self._key, RawTrace.none(), RawEvents.none(), (Mark(name, *self._samples),)))
        self._samples = None
        return self._file.turn_over()

    def _keep(self, ended: Journal | None) -> None:
        """Force a stretch to the disk, without the lock: the link goes on meanwhile."""
        if ended is not None and self._file is not None:
            self._file.keep(ended)


def _piece(key: Key, news: RawTrace | RawEvents | Damage) -> KeyRecording:
    match news:
        case RawTrace():
            return KeyRecording(key, news, RawEvents.none())
        case RawEvents():
            return KeyRecording(key, RawTrace.none(), news)
        case Damage():
            return KeyRecording(key, RawTrace.none(), RawEvents.none(), damage=(news,))
