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
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import astuple, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import IO

from recordings.errors import NoSuchFile, NotARecording, RecordingExists
from recordings.folder_lock import lock_folder
from recordings.journal import Journal, read_journal
from recordings.keys import Key
from recordings.packing import (
    KIND_ASIDE,
    KIND_DAMAGE,
    KIND_DIARY,
    KIND_DONE,
    KIND_EVENTS,
    KIND_FINISHED,
    KIND_MARK,
    KINDS_WITH_SAMPLES,
    PIECES,
    packed_events,
    packed_trace,
    unpacked,
)
from recordings.reader import open_recording
from recordings.safe_files import sync_folder
from recordings.types import DiaryEntry, Header, KeyRecording, RawEvents, RawTrace, RunInfo, SetAside, join
from recordings.writer import refuse_to_overwrite, write_recording

NO_KEY = 0


def partial_folder(path: Path) -> Path:
    """Return the folder in which the recording `path` grows."""
    return path.with_name(path.name + ".partial")


def begin_recording(path: Path, header: Header) -> PartialRecording:
    """Make the folder and open it. Raises RecordingExists if there is one of that name, finished or under way."""
    refuse_to_overwrite(path)
    folder = partial_folder(path)
    try:
        folder.mkdir()
    except FileExistsError as fault:
        raise RecordingExists(folder) from fault
    try:
        lock = lock_folder(folder)
        write_recording(folder / "header.h5", header, ())
    except BaseException:
        shutil.rmtree(folder)  # nothing is in it yet, and it would stand in the way of the next try
        raise
    return PartialRecording(path, header, lock, {}, ())


def resume_recording(path: Path) -> PartialRecording:
    """Open the folder of an interrupted recording and go on with it.

    Raises NoSuchFile if there is none, RecordingInUse if it is being recorded, RecordingExists if it was finished.
    """
    folder = partial_folder(path)
    refuse_to_overwrite(path)
    if not (folder / "header.h5").is_file():
        raise NoSuchFile(folder)
    lock = lock_folder(folder)
    with open_recording(folder / "header.h5") as opened:
        header = opened.header
    told = _told(folder)
    recording = PartialRecording(path, header, lock, told.done, told.diary)
    for number in sorted(told.open_keys):
        recording.set_aside(Key(number), "the recording was interrupted")
    return recording


def interrupted_diary(path: Path) -> tuple[DiaryEntry, ...]:
    """Return what stands in the diary of the recording under way, without touching it. Raises NoSuchFile."""
    folder = partial_folder(path)
    if not (folder / "header.h5").is_file():
        raise NoSuchFile(folder)
    return _told(folder).diary


class PartialRecording:
    """The folder, open for writing: made by `begin_recording` or `resume_recording`."""

    def __init__(
        self, path: Path, header: Header, lock: IO[bytes], done: dict[Key, str], diary: tuple[DiaryEntry, ...]
    ) -> None:
        self.path, self.header, self.folder, self._lock = path, header, partial_folder(path), lock
        self.done = done
        """Keys that need no more work, and what has become of them: `recorded`, `missed`, `skipped`."""
        self.diary = diary
        """What was written into the diary before this sitting."""
        self._stretch = max((_number(stretch) for stretch in _stretches(self.folder)), default=0)
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

    def set_aside(self, key: Key, reason: str) -> None:
        """Keep what there is of a key as an attempt of its own, not to be measured; the key begins anew."""
        self._append(KIND_ASIDE, key.number, reason.encode())

    def mark_done(self, key: Key, outcome: str) -> None:
        """Say that a key needs no more work."""
        self._append(KIND_DONE, key.number, outcome.encode())
        self.done[key] = outcome

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
        """Say that nothing is missing, join everything to the one file and remove the folder.

        Raises CannotWrite if there is no room for the file; the folder is then whole, and `assemble` makes it later.
        """
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


@dataclass(frozen=True, slots=True)
class Assembled:
    """What was found in the folder of a recording under way."""

    finished_stretches: int
    rescued_samples: int
    """Samples of stretches that were under way when the recording was interrupted."""
    keys_done: int
    attempts_set_aside: int
    complete: bool
    """Whether the recording had been finished, and only the one file was not written yet."""


@dataclass(frozen=True, slots=True)
class _Told:
    """What the records of a folder say, without their samples."""

    done: dict[Key, str]
    open_keys: set[int]
    diary: tuple[DiaryEntry, ...]
    attempts_set_aside: int
    finished: bool
    stretches_of_key: dict[int, list[Path]]


def assemble(folder: Path, path: Path) -> Assembled:
    """Join the parts in a folder, and what its journals still hold, to one recording; then remove the folder.

    Raises NotARecording if the folder is no recording under way, RecordingExists if `path` exists, RecordingInUse if
    it is still being recorded, CannotWrite if there is no room.
    """
    if not (folder / "header.h5").is_file():
        raise NotARecording(folder, "it is no folder of a recording under way (header.h5 is missing)")
    with lock_folder(folder):
        return _assemble(folder, path)


def _assemble(folder: Path, path: Path) -> Assembled:
    with open_recording(folder / "header.h5") as opened:
        header = opened.header
    told, stretches = _told(folder), _stretches(folder)
    journals = [stretch for stretch in stretches if stretch.name.startswith("journal")]
    pieces = (piece for journal in journals for piece in _samples_in(journal))
    rescued = sum(len(piece.trace) for piece in pieces)
    header = replace(header, run=_with_latency_bound(header.run, told.diary))
    keys = (_joined(number, told.stretches_of_key[number]) for number in sorted(told.stretches_of_key))
    write_recording(path, header, keys, complete=told.finished, diary=told.diary)
    shutil.rmtree(folder)
    return Assembled(
        len(stretches) - len(journals), rescued, len(told.done), told.attempts_set_aside, complete=told.finished
    )


def _with_latency_bound(run: RunInfo, diary: tuple[DiaryEntry, ...]) -> RunInfo:
    """Take over how late notes through the host may be stamped: it is known only when the clock has been fitted."""
    bounds = [json.loads(entry.facts)["note_latency_bound_ms"] for entry in diary if entry.kind == "midi"]
    return replace(run, note_latency_bound_ms=max(bounds)) if bounds else run


def _samples_in(journal: Path) -> Iterator[KeyRecording]:
    for kind, payload in read_journal(journal):
        if kind in KINDS_WITH_SAMPLES:
            yield unpacked(kind, Key(payload[0]), payload[1:])


def _stretches(folder: Path) -> list[Path]:
    return sorted((*folder.glob("part-*"), *folder.glob("journal-*")), key=_number)


def _number(stretch: Path) -> int:
    return int(stretch.name.rpartition("-")[2])


def _told(folder: Path) -> _Told:
    done: dict[Key, str] = {}
    open_keys: set[int] = set()
    diary: list[DiaryEntry] = []
    of_key: dict[int, list[Path]] = {}
    asides, finished = 0, False
    for stretch in _stretches(folder):
        for kind, payload in read_journal(stretch):
            number = payload[0]
            if kind in (*PIECES, KIND_ASIDE):
                if stretch not in of_key.setdefault(number, []):
                    of_key[number].append(stretch)
                open_keys.add(number)
            if kind in (KIND_ASIDE, KIND_DONE):
                open_keys.discard(number)
                asides += kind == KIND_ASIDE
            if kind == KIND_DONE:
                done[Key(number)] = payload[1:].decode()
            if kind == KIND_DIARY:
                at, *rest = json.loads(payload[1:])
                diary.append(DiaryEntry(datetime.fromisoformat(at), *rest))
            finished = finished or kind == KIND_FINISHED
    return _Told(done, open_keys, tuple(diary), asides, finished, of_key)


def _joined(key_number: int, stretches: list[Path]) -> KeyRecording:
    """Return one key from the stretches that speak of it, attempts that were set aside apart."""
    key = Key(key_number)
    nothing = KeyRecording(key, RawTrace.none(), RawEvents.none())
    pieces: list[KeyRecording] = [nothing]
    asides: list[SetAside] = []
    for stretch in stretches:
        for kind, payload in read_journal(stretch):
            if payload[0] != key_number:
                continue
            if kind == KIND_ASIDE:
                asides.append(SetAside(payload[1:].decode(), join(tuple(pieces))))
                pieces = [nothing]
            elif kind in PIECES:
                pieces.append(unpacked(kind, key, payload[1:]))
    whole = join(tuple(pieces))
    return KeyRecording(key, whole.trace, whole.events, whole.marks, whole.damage, tuple(asides))
