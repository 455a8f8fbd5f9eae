"""Gauge blocks of a bench, as a TOML file says: by certificate, or by their grade.

[[block]]
name = "b5"
nominal_mm = 5.0
grade = "1"                       # ISO 3650: K, 0, 1, 2; or, from the certificate:
certified_mm = 5.00012
expanded_uncertainty_um = 0.10
k = 2.0
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from processing.calibration.displacement_steps import GaugeBlock, block_of_grade
from processing.calibration.errors import MalformedBlockList, UnknownReference
from processing.calibration.toml_place import in_words, line_below_heading

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
WORDS = {"missing": "is missing", "extra_forbidden": "a block list has no such key; is it misspelt?"}


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Block(_Closed):
    """One gauge block."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    nominal_mm: Positive
    grade: str | None = None
    certified_mm: Positive | None = None
    """Length of the certificate, at 20 degrees Celsius."""
    expanded_uncertainty_um: Positive | None = None
    k: Annotated[float, Field(ge=1.0, le=4.0)] = 2.0
    """Coverage factor of the certificate's uncertainty."""

    @model_validator(mode="after")
    def _can_be_relied_on(self) -> Block:
        if (self.certified_mm is None) != (self.expanded_uncertainty_um is None):
            raise ValueError("a certificate has both: give certified_mm and expanded_uncertainty_um, or neither")
        if self.certified_mm is None and self.grade is None:
            raise ValueError("give its certificate (certified_mm, expanded_uncertainty_um) or its grade")
        if self.certified_mm is not None and abs(self.certified_mm - self.nominal_mm) > 0.01:
            raise ValueError(f"{self.certified_mm:g} mm is no block of nominally {self.nominal_mm:g} mm; is it a slip?")
        if self.certified_mm is None and self.grade is not None:
            try:
                block_of_grade(self.nominal_mm, self.grade)
            except UnknownReference as fault:
                raise ValueError(str(fault)) from fault
        return self

    @property
    def gauge_block(self) -> GaugeBlock:
        """Length and standard uncertainty, by the certificate if there is one, else by the grade."""
        if self.certified_mm is not None and self.expanded_uncertainty_um is not None:
            return GaugeBlock(self.certified_mm, self.expanded_uncertainty_um * 1e-3 / self.k)
        assert self.grade is not None  # the validator has seen to it
        return block_of_grade(self.nominal_mm, self.grade)


class BlockList(_Closed):
    """The blocks of a bench."""

    certificate: str = "not stated"
    """Where the values come from, with date; goes into the record."""
    block: Annotated[tuple[Block, ...], Field(min_length=1, strict=False)]

    @model_validator(mode="after")
    def _names_differ(self) -> BlockList:
        names = [block.name for block in self.block]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two blocks are called {twice[0]!r}")
        if TABLE in names:
            raise ValueError(f"no block may be called {TABLE!r}: that is the bare table")
        return self

    def find(self, name: str) -> Block:
        """Return the block of a name. Raises UnknownReference."""
        found = next((block for block in self.block if block.name == name), None)
        if found is None:
            raise UnknownReference("gauge block", name, [block.name for block in self.block])
        return found


TABLE = "table"
"""What stands under the plunger when no block does."""


def load_block_list(path: Path) -> BlockList:
    """Return the block list in a TOML file. Raises MalformedBlockList with file, line and key."""
    if not path.is_file():
        raise MalformedBlockList(path, None, None, "no such file; give the path of a block list in TOML")
    try:
        return parse_block_list(path.read_text(encoding="utf-8"), path)
    except UnicodeDecodeError as fault:
        raise MalformedBlockList(path, None, None, "it is no UTF-8 text, as TOML must be") from fault


def parse_block_list(text: str, path: Path | str) -> BlockList:
    """Return the block list in a TOML text. path: what to call it in errors. Raises MalformedBlockList."""
    try:
        return BlockList.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:
        raise MalformedBlockList(path, None, None, str(fault)) from fault
    except ValidationError as fault:
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        key, why = first["loc"], WORDS.get(first["type"], first["msg"].removeprefix("Value error, "))
        raise MalformedBlockList(path, line_below_heading(text, "[[block]]", key), in_words(key), why) from fault
