"""From the folder of a recording under way to one file: what its records tell, and its keys joined.

How it works: the records of all stretches are read in the order in which they were written. A key's pieces are
joined; what was set aside before it was begun again becomes an attempt of its own. Only one key is in memory at a
time. See `partial.py` for the folder.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from recordings.errors import NoSuchFile, NotARecording
from recordings.folder_lock import lock_folder
from recordings.journal import read_journal
from recordings.keys import Key
from recordings.packing import (
    KIND_ASIDE,
    KIND_DIARY,
    KIND_DONE,
    KIND_FINISHED,
    KINDS_WITH_SAMPLES,
    NO_KEY,
    PIECES,
    unpacked,
)
from recordings.reader import open_recording
from recordings.types import DiaryEntry, KeyRecording, RawEvents, RawTrace, RunInfo, SetAside, join
from recordings.writer import write_recording


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
class Told:
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
    if not folder.exists():
        raise NoSuchFile(folder)
    if not (folder / "header.h5").is_file():
        raise NotARecording(folder, "it is no folder of a recording under way (header.h5 is missing)")
    with lock_folder(folder):
        return _assemble(folder, path)


def _assemble(folder: Path, path: Path) -> Assembled:
    with open_recording(folder / "header.h5") as opened:
        header = opened.header
    found, stretches = told(folder), stretches_of(folder)
    journals = [stretch for stretch in stretches if stretch.name.startswith("journal")]
    pieces = (piece for journal in journals for piece in _samples_in(journal))
    rescued = sum(len(piece.trace) for piece in pieces)
    header = replace(header, run=_with_latency_bound(header.run, found.diary))
    keys = (joined_key(Key(number), found.stretches_of_key[number]) for number in sorted(found.stretches_of_key))
    write_recording(path, header, keys, complete=found.finished, diary=found.diary)
    shutil.rmtree(folder)
    return Assembled(
        len(stretches) - len(journals), rescued, len(found.done), found.attempts_set_aside, complete=found.finished
    )


def _with_latency_bound(run: RunInfo, diary: tuple[DiaryEntry, ...]) -> RunInfo:
    """Take over how late notes through the host may be stamped: it is known only when the clock has been fitted."""
    bounds = [json.loads(entry.facts)["note_latency_bound_ms"] for entry in diary if entry.kind == "midi"]
    return replace(run, note_latency_bound_ms=max(bounds)) if bounds else run


def _samples_in(journal: Path) -> Iterator[KeyRecording]:
    for kind, payload in read_journal(journal):
        if kind in KINDS_WITH_SAMPLES:
            yield unpacked(kind, Key(payload[0]), payload[1:])


def stretches_of(folder: Path) -> list[Path]:
    """Return the parts and journals of a folder in the order in which they were begun."""
    return sorted((*folder.glob("part-*"), *folder.glob("journal-*")), key=number_of)


def number_of(stretch: Path) -> int:
    """Return the running number of a part or journal."""
    return int(stretch.name.rpartition("-")[2])


def told(folder: Path) -> Told:
    """Read what the records of a folder say; their samples are passed over."""
    done: dict[Key, str] = {}
    open_keys: set[int] = set()
    diary: list[DiaryEntry] = []
    of_key: dict[int, list[Path]] = {}
    asides, finished = 0, False
    for stretch in stretches_of(folder):
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
    return Told(done, open_keys, tuple(diary), asides, finished, of_key)


def newest_key(folder: Path, key: Key) -> KeyRecording:
    """Return the key that was recorded last, as it lies in the folder of a recording under way."""
    speak_of_it: list[Path] = []
    for stretch in reversed(stretches_of(folder)):
        spoken_of = {payload[0] for _, payload in read_journal(stretch)} - {NO_KEY}
        if key.number in spoken_of:
            speak_of_it.insert(0, stretch)
        elif spoken_of:
            break
    return joined_key(key, speak_of_it)


def joined_key(key: Key, stretches: list[Path]) -> KeyRecording:
    """Return one key from the stretches that speak of it, attempts that were set aside apart."""
    nothing = KeyRecording(key, RawTrace.none(), RawEvents.none())
    pieces: list[KeyRecording] = [nothing]
    asides: list[SetAside] = []
    for stretch in stretches:
        for kind, payload in read_journal(stretch):
            if payload[0] != key.number:
                continue
            if kind == KIND_ASIDE:
                asides.append(SetAside(payload[1:].decode(), join(tuple(pieces))))
                pieces = [nothing]
            elif kind in PIECES:
                pieces.append(unpacked(kind, key, payload[1:]))
    whole = join(tuple(pieces))
    return KeyRecording(key, whole.trace, whole.events, whole.marks, whole.damage, tuple(asides))
