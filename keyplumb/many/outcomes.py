"""What comes of one file among many: a result, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from keyplumb.exit_codes import exit_code_of, in_words

T = TypeVar("T")

DIED = "the process that worked on it died: too little memory, or a file that a library cannot bear"


@dataclass(frozen=True, slots=True)
class Done(Generic[T]):
    """The work on a file is done."""

    file: Path
    """As it was given."""
    result: T


@dataclass(frozen=True, slots=True)
class Failed:
    """The work on a file could not be done."""

    file: Path
    """As it was given."""
    reason: str


@dataclass(frozen=True, slots=True)
class Kept(Generic[T]):
    """Work on a file whose errors are an outcome; it can be sent to other processes if the work itself can be."""

    work: Callable[[Path], T]

    def __call__(self, file: Path) -> Done[T] | Failed:
        """Do the work; whatever goes wrong, a bug of ours as well, is told and stops nobody else's work."""
        try:
            return Done(file, self.work(file))
        except Exception as trouble:
            if exit_code_of(trouble) is not None:
                return Failed(file, in_words(trouble))
            return Failed(file, f"an error in keyplumb itself, {type(trouble).__name__}: {trouble}")
