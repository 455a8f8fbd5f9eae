"""A TOML file that people write, read as its pydantic model, with the place of what is wrong in it.

How it works: the first fault is told, a misspelt entry before all others, since the one it stands for is missing for
that reason only. Its place is told as a person counts: `limit 2, upper` is that of the second table [[limit]].
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

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
        raise fault_at(path, text, first["loc"], _why(model, first)) from fault


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


def _why(model: type[BaseModel], error: ErrorDetails) -> str:
    """Return what is wrong with an entry, in the words of this page where pydantic's own are not plain."""
    if error["type"] == "missing":
        return "is missing"
    if error["type"] != "extra_forbidden":
        return error["msg"].removeprefix("Value error, ")
    known = list(_table_of(model, error["loc"]).model_fields)
    close = get_close_matches(str(error["loc"][-1]), known, n=1)
    advice = f"perhaps {close[0]}" if close else f"known here are {', '.join(known)}"
    return f"there is no such entry; {advice}"


def _table_of(model: type[BaseModel], place: Place) -> type[BaseModel]:
    """Return the model of the table in which an entry stands."""
    for part in place[:-1]:
        if isinstance(part, str) and part in model.model_fields:
            model = _model_in(model.model_fields[part].annotation) or model
    return model


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if get_origin(annotation) is None and isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part)) is not None), None)


def _syntax_fault(path: Path, text: str, said: str) -> TomlFault:
    found = SYNTAX_PLACE.search(said)
    line = None if found is None else int(found[1]) if found[1] else len(text.splitlines())
    return TomlFault(path, line, "", f"this is no TOML: {said[: found.start()] if found else said}")
