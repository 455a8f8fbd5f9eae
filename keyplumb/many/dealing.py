"""Files dealt out to processes of this machine, and outcomes handed on in the order of the files.

How it works: a file is one task, and whoever has a task works alone on it. Only a few tasks a worker are under way or
waiting to be handed on, so memory does not grow with the number of files. If a worker dies, all workers are replaced;
the file that was next to be handed on is worked on once more in a process of its own, and if that dies too, the file
is to blame and the others go on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Generic, TypeVar

from keyplumb.many.outcomes import DIED, Done, Failed, Kept
from processing.workers import a_pool, begun, keep_memory

T = TypeVar("T")

AHEAD = 4
"""Tasks a worker: one under way, some that are done and wait for a slower one before them."""


def by_processes(work: Kept[T], files: Iterable[Path], count: int) -> Iterator[Done[T] | Failed]:
    """Yield what comes of each file, in their order, by `count` processes; 1: this one, and none beside it."""
    if count <= 1:
        keep_memory()
        yield from map(work, files)
        return
    dealt = _Dealt(work, count)
    try:
        for file in files:
            dealt.deal(file)
            if dealt.enough:
                yield dealt.next_outcome()
        while dealt.waiting:
            yield dealt.next_outcome()
    finally:
        dealt.end()


class _Dealt(Generic[T]):
    """Tasks under way, oldest first."""

    def __init__(self, work: Kept[T], count: int) -> None:
        self._work, self._count = work, count
        self._pool: ProcessPoolExecutor = a_pool(count)
        self.waiting: deque[tuple[Path, Future[Done[T] | Failed]]] = deque()

    @property
    def enough(self) -> bool:
        """Whether nothing more should be dealt before an outcome is handed on."""
        return len(self.waiting) >= AHEAD * self._count

    def deal(self, file: Path) -> None:
        self.waiting.append((file, begun(self._pool, self._work, file)))

    def next_outcome(self) -> Done[T] | Failed:
        file, future = self.waiting.popleft()
        try:
            return future.result()
        except BrokenProcessPool:
            self.end()
            outcome = self._alone(file)
            self._replace_workers()
            return outcome

    def _alone(self, file: Path) -> Done[T] | Failed:
        with a_pool(1) as pool:
            try:
                return begun(pool, self._work, file).result()
            except BrokenProcessPool:
                return Failed(file, DIED)

    def _replace_workers(self) -> None:
        self._pool, before = a_pool(self._count), self.waiting
        self.waiting = deque()
        for file, future in before:
            if future.cancelled() or future.exception() is not None:
                self.deal(file)
            else:
                self.waiting.append((file, future))

    def end(self) -> None:
        self._pool.shutdown(cancel_futures=True)
