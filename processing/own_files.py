"""Where a file of ours may be written: asked before anything is measured, so that no work is lost.

How it works: a file that is there is replaced only if keyplumb itself wrote it in the same format, as its first bytes
and a mark in it show. So a slip of the hand costs no recording, no limits file and nobody else's notes.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from processing.errors import FileIsThere
from recordings.errors import CannotWrite, NoSuchFolder


@dataclass(frozen=True, slots=True)
class Mark:
    """By which a file is known again, and what it is called if it is something else."""

    begins: bytes
    holds: bytes
    """What stands somewhere in it; empty: its beginning says enough."""
    called: str
    """Goes on after "it is nothing that": "`report` wrote"."""

    def is_on(self, content: bytes) -> bool:
        """Tell whether a file's content is ours to replace; an empty file, as `mktemp` makes it, may be filled."""
        return not content or (content.startswith(self.begins) and self.holds in content)


SIGNED = {"Software": "keyplumb"}
"""What matplotlib is to write into a picture, so that it is known again."""
PICTURE = Mark(b"\x89PNG", b"Software\x00keyplumb", "keyplumb drew")


def demand_own_place(path: Path, mark: Mark) -> None:
    """Raise what would keep a file from being written to a path: NoSuchFolder, CannotWrite, FileIsThere."""
    folder = path.absolute().parent
    if not folder.is_dir():
        raise NoSuchFolder(path.parent)
    if path.is_dir():
        raise CannotWrite(path, "it is a folder")
    if path.exists() and not path.is_file():
        raise CannotWrite(path, "it is no plain file")
    if not os.access(folder, os.W_OK):
        raise CannotWrite(path, "its folder takes no files of yours")
    if path.exists() and not mark.is_on(path.read_bytes()):
        raise FileIsThere(path, f"it is nothing that {mark.called}: choose another name")
