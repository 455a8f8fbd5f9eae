"""The operator of a virtual workbench at a keyboard or a pipe: lines in, answers out, nobody waits.

How it works: `attend` is called between two steps of the rig. It takes what has been written meanwhile, if anything,
lets every whole line be obeyed and writes the answers. The end of the input ends nothing but the listening. In the
background of a terminal nothing is read: there the lines belong to somebody else, and reading would stop the program.
"""

from __future__ import annotations

import os
import select
from collections.abc import Callable


class Operator:
    """Reads lines from a file descriptor that select() can wait for: POSIX systems only."""

    def __init__(self, descriptor: int, obey: Callable[[str], str], answer: Callable[[str], None]) -> None:
        self._descriptor, self._obey, self._answer = descriptor, obey, answer
        self._begun = b""
        """A line of which the end has not come yet."""
        self._ended = False

    def attend(self) -> None:
        """Obey what has been said since the last time; return at once if nothing was."""
        if self._ended or not select.select([self._descriptor], [], [], 0.0)[0] or not self._is_meant():
            return
        try:
            said = os.read(self._descriptor, 65536)
        except OSError:  # the terminal has been closed
            said = b""
        self._ended = not said
        *lines, self._begun = (self._begun + said).split(b"\n")
        if self._ended and self._begun:  # a last line without its end
            lines, self._begun = [self._begun], b""
        for line in lines:
            self._answer(self._obey(line.decode("utf-8", errors="replace")))

    def _is_meant(self) -> bool:
        """Tell whether what is typed is meant for us: not if we run in the background of our own terminal."""
        try:
            return os.tcgetpgrp(self._descriptor) == os.getpgrp()
        except OSError:  # a pipe, a file, or a terminal that somebody holds who speaks to us alone
            return True
