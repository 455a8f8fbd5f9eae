"""What recordings are called where several stand side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence


def told_apart(instruments: Sequence[str], files: Sequence[str]) -> list[str]:
    """Return a name for each recording, all different: its instrument's, and its file's beside it if it needs that.

    files: their names without folder and ending, empty where a recording was never in a file.
    >>> told_apart(["fern", "fern", "moss"], ["before", "after", "moss"])
    ['fern (before)', 'fern (after)', 'moss']
    """
    among = Counter(instruments)
    names = [
        f"{instrument} ({file})" if among[instrument] > 1 and file else instrument
        for instrument, file in zip(instruments, files, strict=True)
    ]
    if len(set(names)) == len(names):
        return names
    return [f"{name} [{place}]" for place, name in enumerate(names, 1)]
