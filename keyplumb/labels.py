"""That recordings which stand side by side are not the same one twice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from recordings.types import Header


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
