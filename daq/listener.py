"""Keeps in memory what the link hears, for a program that looks at it at once instead of recording it."""

from __future__ import annotations

from threading import Lock

import numpy as np

from recordings.types import Damage, RawEvents, RawTrace


class Listener:
    """Keeps what the link's thread hears until the trial takes it."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._pieces: list[RawTrace] = []
        self._damage: list[Damage] = []

    def add(self, news: RawTrace | RawEvents | Damage) -> None:
        """Take samples and damage; events are left."""
        with self._lock:
            if isinstance(news, RawTrace):
                self._pieces.append(news)
            elif isinstance(news, Damage):
                self._damage.append(news)

    def forget(self) -> None:
        """Forget what has come so far."""
        with self._lock:
            self._pieces, self._damage = [], []

    def take(self) -> RawTrace:
        """Return what has come since the last call."""
        with self._lock:
            pieces, self._pieces = self._pieces, []
        return joined(pieces)

    def damage(self) -> tuple[Damage, ...]:
        """Return the damage since the last `forget`."""
        with self._lock:
            return tuple(self._damage)


def joined(pieces: list[RawTrace]) -> RawTrace:
    """Return one trace of traces that follow each other."""
    if not pieces:
        return RawTrace.none()
    return RawTrace(
        np.concatenate([piece.sample_number for piece in pieces]),
        np.concatenate([piece.tick_us for piece in pieces]),
        np.concatenate([piece.force_counts for piece in pieces]),
        np.concatenate([piece.displacement_counts for piece in pieces]),
    )
