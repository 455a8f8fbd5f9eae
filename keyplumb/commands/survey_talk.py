"""What a survey says in a terminal, whoever presses: a bar on stderr, sentences between, and the result on stdout."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING

from keyplumb.exit_codes import DONE, RIG_OR_LINK

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

    from daq.survey import SurveyResult
    from daq.talk import HandTalk, Order, Progress, Talk
    from daq.verdict import Now, StrokeVerdict
    from recordings.keys import Key

HOW_TO_ORDER = "Enter, or the foot switch: next key. r Enter, or a long tread: again. s Enter: skip. Ctrl-C: stop."


def print_result(result: SurveyResult) -> int:
    """Say what a survey has done, and return the exit code for it."""
    print(f"{result.path}: {len(result.recorded)} keys; {result.sample_count} samples recorded in this sitting")
    for outcome, keys in (("not found", result.missed), ("skipped", result.skipped)):
        if keys:
            print(f"{outcome}: {', '.join(key.name for key in keys)}")
    lost = f"{result.samples_lost} of {result.samples_heard + result.samples_lost} samples lost"
    print(f"on the cable: {lost}, {result.damage_count} reports of damage")
    return RIG_OR_LINK if result.missed else DONE


def stop_on_signals() -> None:
    """Make SIGTERM and SIGHUP like Ctrl-C, and Ctrl-C itself sure: a program started with `&` ignores it otherwise."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # Windows has no SIGHUP
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)


@contextmanager
def motor_talk() -> Iterator[Talk]:
    """Give a bar that says key, stroke and time left."""
    from daq.talk import Talk

    with _bar() as bar:
        screen = _Screen(bar)
        yield Talk(progress=screen.progress, place_rig=_place_rig, tell=screen.tell)


@contextmanager
def hand_talk(typed: Callable[[], str | None] | None = None) -> Iterator[HandTalk]:
    """Give a line that shows the plunger live, a line for every stroke, and listen to the keyboard.

    typed: returns the next line that was typed, None if there is none; for who listens to the keyboard already.
    """
    from daq.talk import HandTalk

    with _bar(with_share=False) as bar:
        screen, listen = _Screen(bar), typed or _Keyboard().typed
        if typed is None:
            screen.tell(HOW_TO_ORDER)
        yield HandTalk(
            progress=screen.progress,
            tell=screen.tell,
            next_key=screen.next_key,
            now=screen.now,
            verdict=screen.verdict,
            order=lambda: _order_of(listen()),
        )


@contextmanager
def _bar(*, with_share: bool = True) -> Iterator[Bar]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    description = TextColumn("{task.description}", markup=False)
    share = (BarColumn(bar_width=20), TextColumn("{task.percentage:3.0f} %")) if with_share else ()
    columns = (description, *share)
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        yield bar


class _Screen:
    """The bar and the lines above it."""

    def __init__(self, bar: Bar) -> None:
        self._bar = bar
        self._task = bar.add_task("meeting the rig", total=1.0)
        self._place = self._key_name = ""

    def tell(self, sentence: str) -> None:
        """Print a sentence above the bar."""
        self._bar.console.print(f"keyplumb: {sentence}", markup=False, highlight=False)

    def progress(self, progress: Progress) -> None:
        """Move the bar."""
        left = "" if progress.seconds_left is None else f", {_clock(progress.seconds_left)} left"
        self._key_name = progress.key.name
        self._place = f"{progress.key.name:3} {progress.key_index + 1} of {progress.key_count}: {progress.doing}{left}"
        self._bar.update(self._task, completed=progress.share, description=self._place)

    def next_key(self, key: Key, wanted: int) -> None:
        """Say which key to press."""
        self._bar.console.rule(f"{key.name}: press {wanted} times, slowly, to the key bed", characters="-")

    def now(self, now: Now) -> None:
        """Show the plunger live."""
        from keyplumb.commands.hand_screen import word_and_bar

        self._bar.update(self._task, description=f"{self._key_name:3} {word_and_bar(now)}")

    def verdict(self, verdict: StrokeVerdict, good: int, wanted: int) -> None:
        """Say how a stroke was."""
        from keyplumb.commands.hand_screen import word_and_bar

        line = f"{good} of {wanted}  {word_and_bar(verdict)}"
        self._bar.console.print(line, markup=False, highlight=False, style="" if verdict.good else "bold")


class _Keyboard:
    """Reads lines of standard input in a thread of its own, so that nobody waits for Enter."""

    def __init__(self) -> None:
        self._lines: SimpleQueue[str] = SimpleQueue()
        threading.Thread(target=self._read, name="keyboard", daemon=True).start()

    def _read(self) -> None:
        with suppress(OSError, ValueError):  # there is no keyboard: the foot switch is left
            for line in sys.stdin or ():
                self._lines.put(line.strip().lower())

    def typed(self) -> str | None:
        """Return the next line that the person has typed, None if there is none."""
        try:
            return self._lines.get_nowait()
        except Empty:
            return None


def _order_of(word: str | None) -> Order | None:
    from daq.talk import Order

    return None if word is None else {"": Order.NEXT, "r": Order.AGAIN, "s": Order.SKIP}.get(word)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _place_rig(key: Key) -> None:
    input(f"Set the rig over {key.name}, take your hands away and press Enter ")
