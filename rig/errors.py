"""What can go wrong on the rig's side of the code.

MalformedScenario        (also ValueError)    a scenario file of the virtual rig does not say what it must
MalformedFile            (also ValueError)    one of these, told with file, line and key:
 +-- MalformedProfile                         a profile of a rig that prints lines does not say what it must
 +-- MalformedWorkbench                       a workbench file of the virtual rig does not say what it must
NoMotor                  (also RuntimeError)  a hand was told to obey a Move
"""

from __future__ import annotations

from pathlib import Path


class MalformedScenario(ValueError):
    """The scenario file does not say what a scenario must say; the text names file and place."""


class MalformedFile(ValueError):
    """A file that cannot be used. line: counted from 1, None where no line is to blame; key: dotted, as in TOML."""

    def __init__(self, path: Path | str, line: int | None, key: str | None, why: str) -> None:
        self.path, self.line, self.key, self.why = Path(path), line, key, why
        place = str(path) if line is None else f"{path}, line {line}"
        super().__init__(": ".join(part for part in (place, key, why) if part))


class MalformedProfile(MalformedFile):
    """A profile that cannot be used; the text names file, line and key."""


class MalformedWorkbench(MalformedFile):
    """A workbench file that cannot be used; the text names file, line and key."""


class NoMotor(RuntimeError):
    """A hand was told to obey a Move: the caller's fault, who must refuse Moves while a hand holds the plunger."""

    def __init__(self, command: str) -> None:
        self.command = command
        super().__init__(f"no motor: a hand holds the plunger and obeys no {command}; refuse Moves on such a bench")
