"""Keeps in memory what the link hears, for a program that looks at it at once instead of recording it."""

from __future__ import annotations

from threading import Lock

from daq.guard import HostGuard
from recordings.types import Damage, RawEvents, RawTrace


class Listener:
    """Keeps what the link's thread hears until the trial takes it."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._pieces: list[RawTrace] = []
        self._damage: list[Damage] = []
        self.guard: HostGuard | None = None
        """The host's own guard, once the rig is known; it looks at all that comes."""

    def add(self, news: RawTrace | RawEvents | Damage) -> None:
        """Take samples and damage; events are left. Raises StoppedForSafety when the guard has stopped the rig."""
        with self._lock:
            if isinstance(news, RawTrace):
                self._pieces.append(news)
            elif isinstance(news, Damage):
                self._damage.append(news)
        if self.guard is not None:
            self.guard.watch(news)

    def watch_for(self, force_limit_newton: float) -> None:
        """Tell the guard which force limit the rig is told, as the cell shows it."""
        if self.guard is not None:
            self.guard.force_limit_newton = force_limit_newton

    def forget(self) -> None:
        """Forget what has come so far."""
        with self._lock:
            self._pieces, self._damage = [], []

    def take(self) -> RawTrace:
        """Return what has come since the last call."""
        with self._lock:
            pieces, self._pieces = self._pieces, []
        return RawTrace.joined(pieces)

    def damage(self) -> tuple[Damage, ...]:
        """Return the damage since the last `forget`."""
        with self._lock:
            return tuple(self._damage)
