"""Margins of equivalence from a TOML file: differences that are as good as none, and why.

How it works: the file is a list of tables `[[margin]]`, each with the measurand, how far it may differ, the unit in
which that is said, and the reason. `margins.toml` beside this module is taken if no other is given.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from processing.errors import MalformedMargins
from processing.features.table import FEATURES
from recordings.errors import UnknownUnit
from recordings.units import factor_to_ours
from rig.profiles.toml_place import line_of_key

BUILT_IN = Path(__file__).parent / "margins.toml"
QUANTITY_OF = {"N": "force", "mm": "displacement"}
UNIT_OF = {feature.name: feature.unit for feature in FEATURES}


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Margin(_Closed):
    """How far two keyboards may differ in one measurand and be called alike."""

    measurand: str
    within: Annotated[float, Field(gt=0.0)]
    unit: str
    why: str = ""


class MarginsFile(_Closed):
    """The file as people write it."""

    margin: Annotated[tuple[Margin, ...], Field(min_length=1)]


def read_margins(path: Path = BUILT_IN) -> dict[str, float]:
    """Return the margins of a file by measurand, in N, mm or the measurand's own unit.

    Raises MalformedMargins naming file and place.
    """
    try:
        text = path.read_text(encoding="utf-8")
        told = MarginsFile.model_validate(tomllib.loads(text))
    except OSError as fault:
        raise MalformedMargins(str(path), fault.strerror or str(fault)) from fault
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise MalformedMargins(str(path), str(fault)) from fault
    except ValidationError as fault:
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        line = line_of_key(text, first["loc"])
        place = ".".join(str(part + 1) if isinstance(part, int) else part for part in first["loc"])
        raise MalformedMargins(f"{path}, line {line}" if line else str(path), f"{place}: {first['msg']}") from fault
    margins: dict[str, float] = {}
    for number, margin in enumerate(told.margin, 1):
        if margin.measurand in margins:
            raise MalformedMargins(f"{path}, margin {number}", f"{margin.measurand} has a margin already")
        margins[margin.measurand] = _in_our_unit(margin, f"{path}, margin {number}")
    return margins


def _in_our_unit(margin: Margin, place: str) -> float:
    if margin.measurand not in UNIT_OF:
        raise MalformedMargins(place, f"{margin.measurand!r} is no measurand; README.md lists them")
    ours = UNIT_OF[margin.measurand]
    if margin.unit == ours:
        return margin.within
    if ours not in QUANTITY_OF:
        raise MalformedMargins(place, f"{margin.measurand} is told in {ours!r}, not in {margin.unit!r}")
    try:
        return margin.within * factor_to_ours(QUANTITY_OF[ours], margin.unit)
    except UnknownUnit as fault:
        raise MalformedMargins(place, str(fault)) from fault
