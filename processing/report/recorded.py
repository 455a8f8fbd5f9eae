"""What a report is about: one recording, or several side by side, each with its name, its results and its file."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from processing.calibration_status import MARK_OF, calibration_status
from processing.display import Units
from processing.errors import TooManyRecordings
from processing.keyboard import KeyboardResult
from processing.recording_names import told_apart
from processing.report.style import MOST_RECORDINGS
from processing.stages import KeyResult
from processing.statistics.keyboard_statistics import KeyboardStatistics, describe_keyboard
from recordings.keys import Key

PIECE_BYTES = 1 << 20
LONGEST_NAME = 32
"""Letters: a name stands before many sentences and in every legend; the whole one is told where the method is."""


@dataclass(frozen=True, slots=True)
class SourceFile:
    """The file a recording was read from, so that it can be known again."""

    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Made:
    """What makes a report again."""

    command: str
    version: str
    """Of keyplumb."""


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """One recording of a report."""

    result: KeyboardResult
    file: SourceFile | None = None
    """None: the recording was never in a file."""
    name: str = ""
    """What it is called in the report; empty: its instrument's name."""
    drift: tuple[str, ...] = ()
    """What check keys told of the sitting, in sentences; empty: nobody asked."""
    checks: tuple[SourceFile, ...] = ()
    """The files that these sentences come from."""


@dataclass(frozen=True, slots=True, eq=False)
class Described:
    """A recording with a name of its own and its statistics: what sections are made of."""

    result: KeyboardResult
    file: SourceFile | None
    name: str
    statistics: KeyboardStatistics
    drift: tuple[str, ...]
    checks: tuple[SourceFile, ...]

    def of(self, key: Key) -> KeyResult | None:
        """Return the results of a key, None if this recording has none."""
        return next((found for found in self.result.keys if found.key == key), None)

    @property
    def measured(self) -> tuple[KeyResult, ...]:
        """Keys with a curve."""
        return tuple(key for key in self.result.keys if key.curve is not None)


def source_file(path: Path) -> SourceFile:
    """Return what a file can be known by. Raises OSError."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            digest.update(piece)
    return SourceFile(path.name, digest.hexdigest(), path.stat().st_size)


def demand_few(count: int) -> None:
    """Raise TooManyRecordings if so many cannot be told apart in one picture."""
    if count > MOST_RECORDINGS:
        raise TooManyRecordings(count, MOST_RECORDINGS)


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…"


def described(recordings: Sequence[Recorded]) -> tuple[Described, ...]:
    """Return the recordings each with a name of its own and its statistics. Raises TooManyRecordings."""
    demand_few(len(recordings))
    plain = [_short(recorded.name or recorded.result.header.run.instrument) for recorded in recordings]
    files = ["" if recorded.file is None else _short(Path(recorded.file.name).stem) for recorded in recordings]
    return tuple(
        Described(
            recorded.result, recorded.file, name, describe_keyboard(recorded.result), recorded.drift, recorded.checks
        )
        for recorded, name in zip(recordings, told_apart(plain, files), strict=True)
    )


def jointly_marked(units: Units, recordings: Sequence[Described]) -> Units:
    """Return the units with the mark of a picture of all recordings; it names those that it is true of."""
    found = {recorded.name: MARK_OF[calibration_status(recorded.result.header)] for recorded in recordings}
    if len(set(found.values())) <= 1:
        return replace(units, force_mark=next(iter(found.values()), ""))
    return replace(units, force_mark=", ".join(f"{name}: {mark}" for name, mark in found.items() if mark))
