"""Files that are there whole or not at all: written beside their place, forced to the disk, then renamed."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from recordings.errors import CannotWrite


@contextmanager
def whole_or_nothing(path: Path) -> Iterator[Path]:
    """Give a temporary path to write to; it becomes `path` when the block ends well and vanishes when it does not.

    Raises CannotWrite if the folder of `path` does not exist or takes no file, or if something is in the way.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.writing")
    try:
        temporary.touch()
    except OSError as fault:
        raise CannotWrite(path, fault.strerror or str(fault)) from fault
    try:
        yield temporary
        _put_in_place(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def _put_in_place(temporary: Path, path: Path) -> None:
    try:
        with temporary.open("rb+") as written:
            os.fsync(written.fileno())
        os.replace(temporary, path)
        sync_folder(path.parent)
    except OSError as fault:  # it would name the temporary file, which is nobody's
        raise CannotWrite(path, fault.strerror or str(fault)) from fault


def sync_folder(folder: Path) -> None:
    """Force a folder's list of names to the disk: a rename is only then sure to outlive a power cut."""
    if os.name == "posix":  # elsewhere folders cannot be opened; the rename is all there is
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
