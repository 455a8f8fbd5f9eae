"""What a command prints, when nobody reads it any more: it is dropped, and the command goes on to its own end.

How it works: when the reader of a pipe has gone (`| head`, a screen that was closed), the first write that finds this
out turns the file descriptor to where nothing is kept; all later ones succeed. So files, store and exit code are what
they would have been with a reader: a verdict does not hang on who listens.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer


class _UnlessGone(io.FileIO):
    """A file descriptor that takes everything, read or not."""

    def write(self, data: ReadableBuffer, /) -> int:
        try:
            return super().write(data)
        except BrokenPipeError:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self.fileno())
            os.close(nowhere)
            return memoryview(data).nbytes


@contextmanager
def heard_or_not() -> Iterator[None]:
    """Let stdout and stderr outlive their readers inside this block.

    Raises OSError at its end if what was printed cannot be written for another reason, as on a full disk. A terminal,
    and what a test or a notebook has put in place of stdout, is left as it is.
    """
    with ExitStack() as stack:
        for name in ("stderr", "stdout"):
            stack.enter_context(_outlet(name))
        yield


@contextmanager
def _outlet(name: str) -> Iterator[None]:
    before = getattr(sys, name)
    if before is not getattr(sys, f"__{name}__") or not isinstance(before, io.TextIOWrapper) or before.isatty():
        yield
        return
    before.flush()
    outlet = _like(before)
    setattr(sys, name, outlet)
    try:
        yield
    finally:
        setattr(sys, name, before)
        outlet.flush()


def _like(before: io.TextIOWrapper) -> io.TextIOWrapper:
    """Return a text stream to the same file descriptor, buffered as it was (`python -u` buffers nothing)."""
    raw = _UnlessGone(before.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        raw if before.write_through else io.BufferedWriter(raw),
        encoding=before.encoding,
        errors=before.errors,
        line_buffering=before.line_buffering,
        write_through=before.write_through,
    )
