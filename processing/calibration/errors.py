"""What keeps readings from becoming a calibration.

CalibrationError      (also ProcessingError)
 +-- MalformedMassList  (also ValueError)  the list of masses does not say what it must; file, line and key
 |    +-- MalformedBlockList                 the same of gauge blocks
 +-- UnknownReference   (also KeyError)    a mass or a grade that no list holds
 +-- TooFewReadings     (also ValueError)  more readings are needed, and which
 +-- OutsideRange       (also ValueError)  asked for a value where nothing was calibrated
"""

from __future__ import annotations

from pathlib import Path

from processing.errors import ProcessingError


class CalibrationError(ProcessingError):
    """Anything that keeps readings from becoming a calibration."""


class MalformedMassList(CalibrationError, ValueError):
    """A mass list that cannot be used. line: from 1, None where no line is to blame; key: dotted, as in TOML."""

    def __init__(self, path: Path | str, line: int | None, key: str | None, why: str) -> None:
        self.path, self.line, self.key, self.why = Path(path), line, key, why
        place = str(path) if line is None else f"{path}, line {line}"
        super().__init__(": ".join(part for part in (place, key, why) if part))


class MalformedBlockList(MalformedMassList):
    """A list of gauge blocks that cannot be used; as MalformedMassList."""


class UnknownReference(CalibrationError, KeyError):
    """A mass or a grade of gauge block that no list holds; known: what there is."""

    def __init__(self, what: str, name: str, known: list[str]) -> None:
        self.what, self.name, self.known = what, name, known
        super().__init__(f"there is no {what} {name!r}; known are {', '.join(known)}")

    def __str__(self) -> str:  # a KeyError would put its text in quotes
        return str(self.args[0])


class TooFewReadings(CalibrationError, ValueError):
    """Readings that cannot carry what is asked of them; the text says what to add."""


class OutsideRange(CalibrationError, ValueError):
    """A value was asked for where nothing was calibrated."""
