"""Where a recording grows that has no file yet: the name of its folder, for whoever looks there."""

from __future__ import annotations

from pathlib import Path

PARTIAL = ".partial"


def partial_folder(path: Path) -> Path:
    """Return the folder in which the recording `path` grows."""
    return path.with_name(path.name + PARTIAL)
