"""How far the work on many files is, on stderr: a bar in a terminal, else a line now and then; at the end what failed.

How it works: nothing runs beside the work, since a program with threads of its own cannot fork workers; the bar moves
when an outcome comes.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from keyplumb.many.outcomes import Done, Failed

T = TypeVar("T")

LINE_EVERY_S = 10.0
"""Where there is no terminal: seldom enough for a log of some hours."""


class Watched:
    """Outcomes on their way to whoever wants the results; keeps what failed."""

    def __init__(self, total: int, *, bar: bool) -> None:
        self.failed: list[Failed] = []
        self._total, self._bar = total, bar

    def results(self, outcomes: Iterable[Done[T] | Failed]) -> Iterator[Done[T] | Failed]:
        """Yield the outcomes as they come and show how far they are."""
        with self._shown() as show:
            for count, outcome in enumerate(outcomes, 1):
                if isinstance(outcome, Failed):
                    self.failed.append(outcome)
                yield outcome
                show(count)

    def tell_failures(self) -> None:
        """Print which files failed and why, if any did."""
        if self.failed:
            print(f"keyplumb: {len(self.failed)} of {self._total} files failed; all others are done", file=sys.stderr)
        for failed in self.failed:
            reason = failed.reason if failed.reason.startswith(str(failed.file)) else f"{failed.file}: {failed.reason}"
            print(f"  {reason}", file=sys.stderr)

    @contextmanager
    def _shown(self) -> Iterator[Callable[[int], None]]:
        if self._total < 2 or not self._bar:
            yield lambda _: None
        elif sys.stderr.isatty():
            with _bar(self._total) as move:
                yield lambda count: move(count, self._sentence(count))
        else:
            yield self._line_now_and_then()

    def _line_now_and_then(self) -> Callable[[int], None]:
        begun = last = time.monotonic()

        def show(count: int) -> None:
            nonlocal last
            now = time.monotonic()
            if now - last >= LINE_EVERY_S:
                left_s = (now - begun) / count * (self._total - count)
                print(f"keyplumb: {self._sentence(count)}, about {left_s:.0f} s left", file=sys.stderr, flush=True)
                last = now

        return show

    def _sentence(self, count: int) -> str:
        failed = f", {len(self.failed)} failed" if self.failed else ""
        return f"{count} of {self._total} files{failed}"


@contextmanager
def _bar(total: int) -> Iterator[Callable[[int, str], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(bar_width=20), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, auto_refresh=False) as bar:
        task = bar.add_task("beginning", total=total)

        def move(count: int, sentence: str) -> None:
            bar.update(task, completed=count, description=sentence, refresh=True)

        yield move
