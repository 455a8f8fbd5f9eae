"""A recording under way: a folder in which every finished stroke is a file of its own and the running one a journal.

    NAME.h5.partial/
        header.h5            a recording without keys: who, what, when, scales
        part-0001-key40.h5   a finished stretch of a key, itself a small recording
        journal-0002         the stretch under way, record by record; will become part 2

How it works: a part appears by rename when it is whole; then its journal goes. A journal whose part is there says
nothing new and is passed over, so no moment of a power cut counts a sample twice. `assemble` joins the parts to one
file and removes the folder; after a power cut the same call does it with what is there, the journals' whole records
included, and the file says that it is not complete.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import astuple
from pathlib import Path
from struct import Struct

import numpy as np

from recordings.errors import NotARecording, RecordingExists
from recordings.journal import Journal, read_journal
from recordings.keys import Key
from recordings.reader import open_recording
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

    def turn_over(self) -> int:
        """Begin a new stretch with a journal of its own; return the number of the one that has ended."""
        self._journal.close()
        self._journal = self._next_journal()
        return self._stretch - 1

    def keep(self, number: int, stretch: KeyRecording) -> None:
        """Make an ended stretch safe as a part; its journal, which holds the same, goes."""
        part = self.folder / f"part-{number:04d}-key{stretch.key.number:02d}.h5"
        write_recording(part, self.header, (stretch,))
        (self.folder / f"journal-{number:04d}").unlink()

    def finish(self) -> None:
        """Join all parts to the one file and remove the folder."""
        self._journal.close()
        assemble(self.folder, self.path, complete=True)

    def abandon(self) -> None:
        """Close the journal and leave the folder as it is, for `assemble`."""
        self._journal.sync()
        self._journal.close()


def assemble(folder: Path, path: Path, *, complete: bool) -> tuple[int, int]:
    """Join the parts in a folder, and what its journal still holds, to one recording; then remove the folder.

    Returns the number of finished stretches and of samples rescued from the journal.
    Raises NotARecording if the folder is no recording under way, RecordingExists if `path` exists.
    """
    if not (folder / "header.h5").is_file():
        raise NotARecording(folder, "the folder holds no recording under way (header.h5 is missing)")
    with open_recording(folder / "header.h5") as opened:
        header = opened.header
    parts = sorted(folder.glob("part-*.h5"))
    rescued = tuple(piece for journal in _journals_without_part(folder, parts) for piece in _pieces_in_journal(journal))
    write_recording(path, header, _keys(parts, rescued), complete=complete)
    shutil.rmtree(folder)
    return len(parts), sum(len(piece.trace) for piece in rescued)


def _keys(parts: list[Path], rescued: tuple[KeyRecording, ...]) -> Iterator[KeyRecording]:
    parts_of_key: dict[int, list[Path]] = {piece.key.number: [] for piece in rescued}
    for part in parts:
        number = int(re.findall(r"key(\d+)", part.name)[0])
        parts_of_key.setdefault(number, []).append(part)
    for number in sorted(parts_of_key):
        pieces = [_only_key(part) for part in parts_of_key[number]]
        pieces += [piece for piece in rescued if piece.key.number == number]
        yield join(tuple(pieces))


def _only_key(part: Path) -> KeyRecording:
    with open_recording(part) as opened:
        return next(opened.read_keys())


def _journals_without_part(folder: Path, parts: list[Path]) -> list[Path]:
    kept = {part.name.split("-")[1] for part in parts}
    return [journal for journal in sorted(folder.glob("journal-*")) if journal.name.split("-")[1] not in kept]


def _pieces_in_journal(path: Path) -> Iterator[KeyRecording]:
    for kind, payload in read_journal(path):
        yield _piece(kind, Key(payload[0]), payload[_KEY.size :])


def _piece(kind: int, key: Key, payload: bytes) -> KeyRecording:
    trace, events = RawTrace(*(np.empty(0, kind) for kind in ("i8", "i8", "i4", "i4"))), RawEvents.none()
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
