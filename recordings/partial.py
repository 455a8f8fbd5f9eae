"""A recording under way: a folder in which every finished stroke is a file of its own and the running one a journal.

    NAME.h5.partial/
        header.h5            a recording without keys: who, what, when, scales
        lock                 held by the program that records
        part-0001            a finished stretch of a key: a whole journal, on the disk
        journal-0002         the stretch under way, record by record; will become part-0002

How it works: what comes is appended to the journal at once. When a stretch ends its journal is forced to the disk and
renamed to a part, so a part is whole by its name alone. `assemble` joins the parts to one file and removes the folder;
after a power cut the same call does it with what is there, the journals' whole records included, and the file says
that it is not complete.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import astuple, dataclass
from pathlib import Path
from struct import Struct

import numpy as np

from recordings.errors import NotARecording, RecordingExists
from recordings.folder_lock import lock_folder
from recordings.journal import Journal, read_journal
from recordings.keys import Key
from recordings.reader import open_recording
from recordings.safe_files import sync_folder
from recordings.types import Damage, Header, KeyRecording, Mark, RawEvents, RawTrace, join
from recordings.writer import refuse_to_overwrite, write_recording

KIND_SAMPLES, KIND_EVENTS, KIND_DAMAGE, KIND_MARK = 1, 2, 3, 4
_KEY = Struct("<B")
_SAMPLE = np.dtype([("number", "<i8"), ("tick_us", "<i8"), ("force", "<i4"), ("displacement", "<i4")])
_EVENT = np.dtype([("tick_us", "<i8"), ("source", "u1"), ("byte", "u1")])


def partial_folder(path: Path) -> Path:
    """Return the folder in which the recording `path` grows."""
    return path.with_name(path.name + ".partial")


class PartialRecording:
    """The folder, open for writing."""

    def __init__(self, path: Path, header: Header) -> None:
        """Raise RecordingExists if there is a recording of that name, finished or under way."""
        refuse_to_overwrite(path)
        self.path, self.header, self.folder = path, header, partial_folder(path)
        try:
            self.folder.mkdir()
        except FileExistsError as fault:
            raise RecordingExists(self.folder) from fault
        self._lock = lock_folder(self.folder)
        write_recording(self.folder / "header.h5", header, ())
        self._stretch = 0
        self._journal = self._next_journal()

    def _next_journal(self) -> Journal:
        self._stretch += 1
        return Journal(self.folder / f"journal-{self._stretch:04d}")

    def note(self, piece: KeyRecording) -> None:
        """Add a piece of the stretch under way to the journal."""
        key = _KEY.pack(piece.key.number)
        if len(piece.trace):
            self._journal.append(KIND_SAMPLES, key + _packed_trace(piece.trace))
        if len(piece.events.tick_us):
            self._journal.append(KIND_EVENTS, key + _packed_events(piece.events))
        for mark in piece.marks:
            self._journal.append(KIND_MARK, key + json.dumps(astuple(mark)).encode())
        for damage in piece.damage:
            self._journal.append(KIND_DAMAGE, key + json.dumps(astuple(damage)).encode())

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
        """Join all parts to the one file and remove the folder."""
        self._journal.close()
        self._lock.close()
        assemble(self.folder, self.path, complete=True)

    def abandon(self) -> None:
        """Close the journal and leave the folder as it is, for `assemble`."""
        self._journal.sync()
        self._journal.close()
        self._lock.close()


@dataclass(frozen=True, slots=True)
class Assembled:
    """What was found in the folder of a recording under way."""

    finished_stretches: int
    rescued_samples: int
    """Samples of the stretch that was under way when the recording was interrupted."""


def assemble(folder: Path, path: Path, *, complete: bool) -> Assembled:
    """Join the parts in a folder, and what its journals still hold, to one recording; then remove the folder.

    Raises NotARecording if the folder is no recording under way, RecordingExists if `path` exists, RecordingInUse if
    it is still being recorded.
    """
    if not (folder / "header.h5").is_file():
        raise NotARecording(folder, "it is no folder of a recording under way (header.h5 is missing)")
    with lock_folder(folder):
        return _assemble(folder, path, complete=complete)


def _assemble(folder: Path, path: Path, *, complete: bool) -> Assembled:
    with open_recording(folder / "header.h5") as opened:
        header = opened.header
    parts, journals = sorted(folder.glob("part-*")), sorted(folder.glob("journal-*"))
    rescued = sum(len(piece.trace) for journal in journals for piece in _pieces(journal))
    write_recording(path, header, _joined(parts + journals), complete=complete)
    shutil.rmtree(folder)
    return Assembled(len(parts), rescued)


def _joined(stretches: list[Path]) -> Iterator[KeyRecording]:
    """Yield each key from the files that speak of it, A0 first; only one key is in memory at a time."""
    stretches_of_key: dict[int, list[Path]] = {}
    for stretch in stretches:
        first = next(_pieces(stretch), None)
        if first is not None:
            stretches_of_key.setdefault(first.key.number, []).append(stretch)
    for number in sorted(stretches_of_key):
        yield join(tuple(piece for stretch in stretches_of_key[number] for piece in _pieces(stretch)))


def _pieces(stretch: Path) -> Iterator[KeyRecording]:
    for kind, payload in read_journal(stretch):
        yield _piece(kind, Key(payload[0]), payload[_KEY.size :])


def _piece(kind: int, key: Key, payload: bytes) -> KeyRecording:
    trace, events = RawTrace.none(), RawEvents.none()
    if kind == KIND_SAMPLES:
        rows = np.frombuffer(payload, _SAMPLE)
        trace = RawTrace(*(rows[name].copy() for name in _SAMPLE.names or ()))
    if kind == KIND_EVENTS:
        rows = np.frombuffer(payload, _EVENT)
        events = RawEvents(*(rows[name].copy() for name in _EVENT.names or ()))
    marks = (Mark(*json.loads(payload)),) if kind == KIND_MARK else ()
    damage = (Damage(*json.loads(payload)),) if kind == KIND_DAMAGE else ()
    return KeyRecording(key, trace, events, marks, damage)


def _packed_trace(trace: RawTrace) -> bytes:
    rows = np.empty(len(trace), _SAMPLE)
    rows["number"], rows["tick_us"] = trace.sample_number, trace.tick_us
    rows["force"], rows["displacement"] = trace.force_counts, trace.displacement_counts
    return rows.tobytes()


def _packed_events(events: RawEvents) -> bytes:
    rows = np.empty(len(events.tick_us), _EVENT)
    rows["tick_us"], rows["source"], rows["byte"] = events.tick_us, events.source, events.byte
    return rows.tobytes()
