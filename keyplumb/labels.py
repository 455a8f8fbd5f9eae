"""What recordings are called where several stand side by side, and that they are not the same one twice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from processing.keyboard import KeyboardResult
    from recordings.types import Header


def labels_of(results: Sequence[KeyboardResult], files: Sequence[str]) -> list[str]:
    """Return what recordings are called: by instrument, else by file, else by file and place in the list.

    files: their names without folder and ending.
    """
    instruments = [result.header.run.instrument for result in results]
    for names in (instruments, list(files)):
        if len(set(names)) == len(names):
            return names
    return [f"{name} ({place})" for place, name in enumerate(files, 1)]


def demand_different(headers: Sequence[Header], places: Sequence[str]) -> None:
    """Raise SameRecording if two of some recordings are one and the same. places: what to call them then."""
    from processing.errors import SameRecording

    known: dict[tuple[object, ...], str] = {}
    for header, place in zip(headers, places, strict=True):
        run = header.run
        mark = (run.instrument, run.started_at, run.programme)
        if mark in known:
            raise SameRecording(known[mark], place)
        known[mark] = place
