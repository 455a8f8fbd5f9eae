"""A recording under way: a folder in which every finished stroke is a file of its own and the running one a journal.

    NAME.h5.partial/
        header.h5            a recording without keys: who, what, when, scales
        lock                 held by the program that records
        part-0001            a finished stretch of a key: a whole journal, on the disk
        journal-0002         the stretch under way, record by record; will become part-0002

How it works: what comes is appended to the journal at once. When a stretch ends its journal is forced to the disk and
renamed to a part, so a part is whole by its name alone. The records say themselves what has become of a key: done, or
set aside because it is begun again. `assemble` joins everything to one file and removes the folder; after a power cut
the same call does it with what is there, and the file says that it is not complete. `resume_recording` goes on with
the folder instead: what was finished stays, the attempt that was interrupted is set aside.
"""

from __future__ import annotations

import json
import os
import shutil
from contextlib import suppress
from dataclasses import astuple
from pathlib import Path
from typing import IO

from recordings.assembly import assemble, newest_key, number_of, stretches_of, told
from recordings.errors import NothingToResume, SurveyUnderWay
from recordings.folder_lock import lock_folder
from recordings.growing import partial_folder as partial_folder
from recordings.journal import Journal
from recordings.keys import Key
from recordings.packing import (
    KIND_ASIDE,
    KIND_DAMAGE,
    KIND_DIARY,
    KIND_DONE,
    KIND_EVENTS,
    KIND_FINISHED,
    KIND_MARK,
    NO_KEY,
    packed_events,
    packed_trace,
)
from recordings.reader import open_recording
from recordings.safe_files import sync_folder
from recordings.types import DiaryEntry, Header, KeyRecording
from recordings.writer import refuse_to_overwrite, write_recording


def begin_recording(path: Path, header: Header) -> PartialRecording:
    """Make the folder and open it. Raises RecordingExists if there is one of that name, finished or under way."""
    refuse_to_overwrite(path)
    folder = partial_folder(path)
    try:
        folder.mkdir()
    except FileExistsError as fault:
        raise SurveyUnderWay(path) from fault
    try:
        lock = lock_folder(folder)
        write_recording(folder / "header.h5", header, ())
    except BaseException:
        shutil.rmtree(folder)  # nothing is in it yet, and it would stand in the way of the next try
        raise
    return PartialRecording(path, header, lock, {}, ())


def resume_recording(path: Path) -> PartialRecording:
    """Open the folder of an interrupted recording to go on with it; nothing in it changes by that.

    Raises NothingToResume if there is none, RecordingInUse if it is being recorded.
    """
    folder = _folder_to_resume(path)
    lock = lock_folder(folder)
    with open_recording(folder / "header.h5") as opened:
        header = opened.header
    found = told(folder)
    open_keys = tuple(Key(number) for number in sorted(found.open_keys))
    return PartialRecording(path, header, lock, found.done, found.diary, open_keys)


def interrupted_diary(path: Path) -> tuple[DiaryEntry, ...]:
    """Return what stands in the diary of the recording under way, without touching it. Raises NothingToResume."""
    return told(_folder_to_resume(path)).diary


def _folder_to_resume(path: Path) -> Path:
    if path.exists():
        raise NothingToResume(path, "it is finished already")
    folder = partial_folder(path)
    if not (folder / "header.h5").is_file():
        raise NothingToResume(path, f"there is no survey under way in {folder}")
    return folder


class PartialRecording:
    """The folder, open for writing: made by `begin_recording` or `resume_recording`."""

    def __init__(
        self,
        path: Path,
        header: Header,
        lock: IO[bytes],
        done: dict[Key, str],
        diary: tuple[DiaryEntry, ...],
        open_keys: tuple[Key, ...] = (),
    ) -> None:
        self.path, self.header, self.folder, self._lock = path, header, partial_folder(path), lock
        self.done = done
        """Keys that need no more work, and what has become of them: `recorded`, `missed`, `skipped`."""
        self.diary = diary
        """What was written into the diary before this sitting."""
        self.stopped_early = False
        """Whether what is still to come is not wanted any more: the finished file then says that it is not complete."""
        self._open_keys = open_keys
        self._stretch = max((number_of(stretch) for stretch in stretches_of(self.folder)), default=0)
        self._journal = self._next_journal()

    def _next_journal(self) -> Journal:
        self._stretch += 1
        return Journal(self.folder / f"journal-{self._stretch:04d}")

    def note(self, piece: KeyRecording) -> None:
        """Add a piece of the stretch under way to the journal. Raises CannotWrite when the disk is full."""
        number = piece.key.number
        if len(piece.trace):
            kind, payload = packed_trace(piece.trace)
            self._append(kind, number, payload)
        if len(piece.events.tick_us):
            self._append(KIND_EVENTS, number, packed_events(piece.events))
        for mark in piece.marks:
            self._append(KIND_MARK, number, json.dumps(astuple(mark)).encode())
        for damage in piece.damage:
            self._append(KIND_DAMAGE, number, json.dumps(astuple(damage)).encode())

    def set_interrupted_aside(self) -> None:
        """Set aside what an earlier sitting has left unfinished: its keys begin anew."""
        for key in self._open_keys:
            self.set_aside(key, "the recording was interrupted")

    def set_aside(self, key: Key, reason: str) -> None:
        """Keep what there is of a key as an attempt of its own, not to be measured; the key begins anew."""
        self._append(KIND_ASIDE, key.number, reason.encode())

    def mark_done(self, key: Key, outcome: str) -> None:
        """Say that a key needs no more work."""
        self._append(KIND_DONE, key.number, outcome.encode())
        self.done[key] = outcome

    def newest(self, key: Key) -> KeyRecording:
        """Return the key that was recorded last, from what lies on the disk."""
        return newest_key(self.folder, key)

    def write_diary(self, entry: DiaryEntry) -> None:
        """Keep an entry of the diary."""
        told = [entry.at.isoformat(), entry.kind, entry.text, entry.facts]
        self._append(KIND_DIARY, NO_KEY, json.dumps(told).encode())

    def _append(self, kind: int, key_number: int, payload: bytes) -> None:
        self._journal.append(kind, bytes([key_number]) + payload)

    def turn_over(self) -> Journal:
        """Begin a new stretch with a journal of its own; return that of the one that has ended, for `keep`."""
        ended, self._journal = self._journal, self._next_journal()
        return ended

    def keep(self, ended: Journal) -> None:
        """Make an ended stretch safe as a part."""
        ended.sync()
        ended.close()
        os.replace(ended.path, ended.path.with_name(ended.path.name.replace("journal", "part")))
        sync_folder(self.folder)

    def finish(self) -> None:
        """Say that nothing is missing (unless stopped early), join all to the one file and remove the folder.

        Raises CannotWrite if there is no room for the file; the folder is then whole, and `assemble` makes it later.
        """
        if not self.stopped_early:
            self._append(KIND_FINISHED, NO_KEY, b"")
        self._journal.sync()
        self._journal.close()
        self._lock.close()
        assemble(self.folder, self.path)

    def abandon(self) -> None:
        """Close the journal and leave the folder as it is, for `resume_recording` or `assemble`."""
        with suppress(OSError):  # a full disk has been told already; what is written is written
            self._journal.sync()
        self._journal.close()
        self._lock.close()
