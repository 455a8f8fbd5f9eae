"""How a calibration speaks with the person at the bench: sentences on stderr, Enter, `r` or `q` on stdin.

How it works: a thread reads the lines, so that a press by hand can be waited for while the person may also type. The
end of the input means that nobody is there any more, and is taken for `q`.
"""

from __future__ import annotations

import sys
import threading
from contextlib import suppress
from enum import Enum, auto
from queue import Empty, SimpleQueue
from typing import TextIO

HOW_TO_ANSWER = "Enter goes on, r Enter repeats the last step, q Enter stops; what was read is kept."


class Answer(Enum):
    """What the person wants."""

    GO_ON = auto()
    REPEAT = auto()


class StoppedByPerson(KeyboardInterrupt):
    """The person at the bench has typed q, or the input has ended."""


class Guide:
    """Speaks with one person."""

    def __init__(self, said_by_person: TextIO | None = None, told: TextIO | None = None) -> None:
        self._in, self._out = said_by_person or sys.stdin, told or sys.stderr
        self._lines: SimpleQueue[str] = SimpleQueue()
        self._listening = False

    def tell(self, sentence: str) -> None:
        """Say something that needs no answer."""
        print(sentence, file=self._out, flush=True)

    def ask(self, what_to_do: str) -> Answer:
        """Say what to do and wait until it is done. Raises StoppedByPerson."""
        self._listen()
        self.tell(f"> {what_to_do}")
        while True:
            answer = _ANSWERS.get(word := self._lines.get())
            if answer is not None:
                return answer
            if word == QUIT:
                raise StoppedByPerson("stopped, as asked")
            self.tell(f"{word!r} is no answer. {HOW_TO_ANSWER}")

    def said_over(self) -> bool:
        """Tell whether the person has typed Enter meanwhile. Raises StoppedByPerson."""
        return self.typed() == ""

    def typed(self) -> str | None:
        """Return the next line that the person has typed meanwhile, None if there is none. Raises StoppedByPerson."""
        self._listen()
        try:
            word = self._lines.get_nowait()
        except Empty:
            return None
        if word == QUIT:
            raise StoppedByPerson("stopped, as asked")
        return word

    def _listen(self) -> None:
        if not self._listening:
            self._listening = True
            threading.Thread(target=self._read, name="keyboard", daemon=True).start()

    def _read(self) -> None:
        with suppress(OSError, ValueError):  # there is no keyboard
            for line in self._in or ():
                self._lines.put(line.strip().lower())
        self._lines.put(QUIT)


QUIT = "q"
_ANSWERS = {"": Answer.GO_ON, "r": Answer.REPEAT}
