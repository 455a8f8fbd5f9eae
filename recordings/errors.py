"""What can go wrong with a recording or a file to be imported. Every text says what, where, and what to do.

RecordingError
 +-- NoSuchFile         (also FileNotFoundError)  nothing there by that name
 |    +-- NoSuchFolder                            nor a folder to write into
 +-- NotYetARecording                             a survey that was interrupted, or is under way
 +-- NotARecording                                the file is no keyplumb recording, or a newer one
 +-- CannotWrite        (also OSError)            the place where it should be written refuses it
 +-- RecordingInUse                               a living program is recording there
 +-- MalformedRecording                           a recording whose inside does not fit together
 +-- RecordingExists    (also FileExistsError)    we never write over a recording
 |    +-- SurveyUnderWay                          nor over one that was begun
 +-- NothingToResume                              no interrupted survey by that name
 +-- MalformedCalibration                          a calibration record: file, place and reason
 +-- MalformedReadings                            raw readings of a calibration: file, line and reason
 +-- MalformedTable                               a table to import: file, line and reason
 +-- UnknownUnit                                  a unit that is not in the contract
 +-- UnknownKey                                   a key name that is not A0..C8
"""

from __future__ import annotations

from pathlib import Path


class RecordingError(Exception):
    """Anything wrong with a recording or an imported file."""


class NoSuchFile(RecordingError, FileNotFoundError):
    """Nothing there by that name."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        super().__init__(f"{path}: no such file; check the name and the folder you stand in")


class NoSuchFolder(NoSuchFile):
    """The folder in which a file should be written is not there."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        RecordingError.__init__(self, f"{path}: no such folder; make it first, or choose another place")


class NotYetARecording(RecordingError):
    """A survey that was interrupted, or is under way: its folder is there, its one file not yet."""

    def __init__(self, recording: Path | str, folder: Path | str) -> None:
        self.recording, self.folder = Path(recording), Path(folder)
        super().__init__(
            f"{folder} is a survey that was interrupted or is under way: `keyplumb resume {recording} --port PORT` "
            f"goes on with it, `keyplumb repair {folder}` makes a recording of what is there"
        )


class NotARecording(RecordingError):
    """The file is something else."""

    def __init__(self, path: Path | str, why: str) -> None:
        self.path, self.why = Path(path), why
        super().__init__(f"{path} is no keyplumb recording: {why}")


class MalformedRecording(RecordingError):
    """A recording whose inside does not fit together."""

    def __init__(self, where: str, why: str) -> None:
        self.where, self.why = where, why
        super().__init__(f"{where}: {why}")


class RecordingExists(RecordingError, FileExistsError):
    """We never write over a recording."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        super().__init__(f"{path} exists already and is left alone; choose another name or move it away")


class SurveyUnderWay(RecordingExists):
    """A survey of that name was begun and not finished."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        RecordingError.__init__(
            self,
            f"a survey of {path} was begun and not finished; go on with `keyplumb resume {path} --port PORT`, "
            f"or make a recording of what there is with `keyplumb repair {path}.partial`",
        )


class NothingToResume(RecordingError):
    """No interrupted survey by that name."""

    def __init__(self, path: Path | str, why: str) -> None:
        self.path, self.why = Path(path), why
        super().__init__(f"{path} cannot be gone on with: {why}")


class RecordingInUse(RecordingError):
    """A living program is recording there."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        super().__init__(f"{path} is being recorded by a program that still runs; stop that first")


class CannotWrite(RecordingError, OSError):
    """The place where a file should be written refuses it."""

    def __init__(self, path: Path | str, why: str) -> None:
        self.path, self.why = Path(path), why
        super().__init__(f"{path} cannot be written ({why}); choose another place, or make room there")


class MalformedTable(RecordingError):
    """A table to import that cannot be understood; line is None when the whole file is meant."""

    def __init__(self, path: Path | str, line: int | None, why: str) -> None:
        self.path, self.line, self.why = Path(path), line, why
        place = str(path) if line is None else f"{path}, line {line}"
        super().__init__(f"{place}: {why}")


class MalformedCalibration(RecordingError):
    """A calibration record that cannot be understood or believed; place is empty when the whole file is meant."""

    def __init__(
        self, source: str, place: str, why: str, advice: str = "take the file as it was made, or calibrate again"
    ) -> None:
        self.source, self.place, self.why = source, place, why
        where = f"{source}, {place}" if place else source
        super().__init__(f"{where}: {why}; {advice}")


class MalformedReadings(RecordingError):
    """A file of calibration readings that cannot be understood. line: from 1."""

    def __init__(self, path: Path | str, line: int, why: str) -> None:
        self.path, self.line, self.why = Path(path), line, why
        super().__init__(f"{path}, line {line}: {why}; take the file as it was made, or calibrate again")


class UnknownUnit(RecordingError, ValueError):
    """A unit that the contract does not name."""

    def __init__(self, quantity: str, found: str, known: tuple[str, ...]) -> None:
        self.quantity, self.found, self.known = quantity, found, known
        super().__init__(f"{found!r} is no unit of {quantity} here; known are {' '.join(known)}")


class UnknownKey(RecordingError, ValueError):
    """A name that is no key of an 88-key keyboard."""

    def __init__(self, found: str) -> None:
        self.found = found
        super().__init__(f"{found!r} is no key; keys are A0, A#0, B0, C1 ... C8, or their numbers 1 ... 88")
