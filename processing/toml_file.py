"""A TOML file that people write, read as its pydantic model, with the place of what is wrong in it.

How it works: the first fault is told, a misspelt entry before all others, since the one it stands for is missing for
that reason only. Its place is told as a person counts: `limit 2, upper` is that of the second table [[limit]].
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from rig.profiles.toml_place import line_of_key

Place = Sequence[str | int]
Model = TypeVar("Model", bound=BaseModel)
SYNTAX_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


class Closed(BaseModel):
    """A table that people write: nothing but the named entries, and every number a number."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class TomlFault(Exception):
    """What is wrong in a file. line: from 1, None where no line is to blame."""

    def __init__(self, path: Path, line: int | None, place: str, why: str) -> None:
        self.path, self.line, self.place, self.why = path, line, place, why
        where = str(path) if line is None else f"{path}, line {line}"
        super().__init__(": ".join(part for part in (where, place, why) if part))


def read_toml(path: Path, model: type[Model]) -> tuple[Model, str]:
    """Return a file as its model, and its text. Raises TomlFault."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as fault:
        raise TomlFault(path, None, "", fault.strerror or str(fault)) from fault
    except UnicodeDecodeError as fault:
        raise TomlFault(path, None, "", "it is no UTF-8 text, as TOML must be") from fault
    try:
        return model.model_validate(tomllib.loads(text)), text
    except tomllib.TOMLDecodeError as fault:
        raise _syntax_fault(path, text, str(fault)) from fault
    except ValidationError as fault:
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        why = WORDS.get(first["type"], first["msg"].removeprefix("Value error, "))
        raise fault_at(path, text, first["loc"], why) from fault


def fault_at(path: Path, text: str, place: Place, why: str) -> TomlFault:
    """Return the fault of an entry of a file. place: as pydantic has it, indices from 0."""
    return TomlFault(path, line_of_key(text, place), in_words(place), why)


def in_words(place: Place) -> str:
    """Return a place as people count.

    >>> in_words(("limit", 1, "upper", "A0"))
    'limit 2, upper, A0'
    """
    words = ""
    for part in place:
        words += f" {part + 1}" if isinstance(part, int) else f"{', ' if words else ''}{part}"
    return words


def _syntax_fault(path: Path, text: str, said: str) -> TomlFault:
    found = SYNTAX_PLACE.search(said)
    line = None if found is None else int(found[1]) if found[1] else len(text.splitlines())
    return TomlFault(path, line, "", f"this is no TOML: {said[: found.start()] if found else said}")


WORDS = {"missing": "is missing", "extra_forbidden": "there is no such entry; is it misspelt?"}
"""What pydantic finds, in the words of this page where its own are not plain."""
