"""Margins of equivalence from a TOML file: differences that are as good as none, and why.

How it works: the file is a list of tables `[[margin]]`, each with the measurand, how far it may differ, the unit in
which that is said, and the reason. `margins.toml` beside this module holds for what the reader's own does not name: who
changes one margin has said nothing about the others.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from processing.errors import MalformedMargins
from processing.measurand_units import UNIT_OF, factor_for
from processing.toml_file import Closed, TomlFault, fault_at, read_toml
from recordings.errors import UnknownUnit

BUILT_IN = Path(__file__).parent / "margins.toml"


class Margin(Closed):
    """How far two keyboards may differ in one measurand and be called alike."""

    measurand: str
    within: Annotated[float, Field(gt=0.0)]
    unit: str
    why: str = ""


class MarginsFile(Closed):
    """The file as people write it."""

    margin: Annotated[tuple[Margin, ...], Field(min_length=1)]


def read_margins(path: Path = BUILT_IN) -> dict[str, float]:
    """Return margins by measurand, in N, mm or the measurand's own unit: those of a file over the built-in ones.

    Raises MalformedMargins naming file and place.
    """
    return _margins_of(BUILT_IN) | _margins_of(path)


def _margins_of(path: Path) -> dict[str, float]:
    try:
        told, text = read_toml(path, MarginsFile)
        margins: dict[str, float] = {}
        for number, margin in enumerate(told.margin):
            if margin.measurand in margins:
                why = f"{margin.measurand} has a margin already"
                raise fault_at(path, text, ("margin", number, "measurand"), why)
            margins[margin.measurand] = _in_our_unit(margin, path, text, number)
    except TomlFault as fault:
        raise MalformedMargins(str(fault)) from fault
    return margins


def _in_our_unit(margin: Margin, path: Path, text: str, number: int) -> float:
    if margin.measurand not in UNIT_OF:
        why = f"{margin.measurand!r} is no measurand; README.md lists them"
        raise fault_at(path, text, ("margin", number, "measurand"), why)
    try:
        return margin.within * factor_for(margin.measurand, margin.unit)
    except UnknownUnit as fault:
        raise fault_at(path, text, ("margin", number, "unit"), str(fault)) from fault
