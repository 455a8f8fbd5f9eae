"""A lock on a folder that its holder keeps as long as it lives; the operating system lets go when it dies.

On systems without POSIX locks (Windows) there is none: an open journal cannot be removed there anyway.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO

from recordings.errors import RecordingInUse


def lock_folder(folder: Path) -> IO[bytes]:
    """Return the held lock; close it to let go. Raises RecordingInUse if a living program holds it."""
    handle = (folder / "lock").open("wb")
    if os.name == "posix":
        import fcntl

        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            handle.close()
            raise RecordingInUse(folder) from fault
    return handle
