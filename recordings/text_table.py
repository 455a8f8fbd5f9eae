"""A table in a text file that other programs wrote: where it starts, which column is what, and its numbers.

How it works: every line is split at comma, semicolon and tab, until the cells of one line name (or, where the user
mapped columns by number, hold) all that is wanted; what stands before is skipped. From there on every row must be
whole: the first bad cell is an error with its line. With semicolons, a comma inside a number is a decimal comma.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recordings.errors import MalformedTable, NoSuchFile, UnknownUnit
from recordings.units import PINT_NAMES, factor_to_ours

DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class ColumnChoice:
    """A column that the user mapped: `force=3:gf` or `force=Load:gf`; unit is empty for columns of text."""

    quantity: str
    column: str
    """Its number, counted from 1, or its name in the header."""
    unit: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a table must and may hold. Quantities have units in their names (`force_N`), words have not (`key`)."""

    quantities: tuple[str, ...]
    words: tuple[str, ...] = ()
    optional: frozenset[str] = frozenset()
    choices: tuple[ColumnChoice, ...] = ()

    @property
    def required(self) -> tuple[str, ...]:
        """Names without which there is no table."""
        return tuple(name for name in (*self.quantities, *self.words) if name not in self.optional)


@dataclass(frozen=True, slots=True)
class Place:
    """A found column: its index from 0 and its unit ("" for words)."""

    index: int
    unit: str


@dataclass(frozen=True, slots=True, eq=False)
class TextTable:
    """The rows of a table as text, with the line of each row in the file."""

    path: Path
    cells: pd.DataFrame = field(repr=False)
    line_of_row: NDArray[np.int64] = field(repr=False)
    places: dict[str, Place]
    decimal_comma: bool

    def __len__(self) -> int:
        return len(self.cells)

    def words(self, name: str) -> list[str]:
        """Return a column as text, stripped."""
        return [str(word).strip() for word in self.cells[self.places[name].index]]

    def numbers(self, name: str) -> NDArray[np.float64]:
        """Return a quantity in our unit (us, mm, N), shape (N,). Raises MalformedTable at the first bad cell."""
        place = self.places[name]
        return self.plain_numbers(name) * factor_to_ours(name, place.unit)

    def plain_numbers(self, name: str) -> NDArray[np.float64]:
        """Return a column of numbers as they stand. Raises MalformedTable at the first bad cell."""
        text = self.cells[self.places[name].index]
        if self.decimal_comma:
            text = text.str.replace(",", ".", regex=False)
        values: NDArray[np.float64] = pd.to_numeric(text, errors="coerce").to_numpy(np.float64)
        bad = np.flatnonzero(~np.isfinite(values))
        if len(bad):
            cell = self.cells[self.places[name].index].iloc[bad[0]]
            absent = not isinstance(cell, str) or not cell.strip()  # pandas fills up a short row with a float
            why = f"{name} is missing" if absent else f"{name} is {cell.strip()!r}, which is no finite number"
            raise self.refuse(int(bad[0]), why)
        return values

    def refuse(self, row: int, why: str) -> MalformedTable:
        """Return the error for one row, to be raised."""
        return MalformedTable(self.path, int(self.line_of_row[row]), why)


def read_text_table(path: Path, wanted: Wanted, *, skip_lines: int | None = None) -> TextTable:
    """Return the table in a file.

    skip_lines: the table starts right after so many lines; None: it is looked for.
    Raises NoSuchFile, MalformedTable (no text, nothing in it, no table found, ragged rows).
    """
    lines = _lines(path)
    start, delimiter, places, has_header = _find_table(path, lines, wanted, skip_lines)
    first = start + 1 if has_header else start
    cells, line_of_row = _cells(path, lines, first, delimiter)
    if not len(cells):
        raise MalformedTable(path, first, "the table has a header but no rows")
    missing = [name for name, place in places.items() if place.index >= cells.shape[1]]
    if missing:
        raise MalformedTable(path, int(line_of_row[0]), f"the row has no column for {missing[0]}")
    return TextTable(path, cells, line_of_row, places, decimal_comma=delimiter == ";")


def _lines(path: Path) -> list[str]:
    if not path.is_file():
        raise NoSuchFile(path)
    data = path.read_bytes()
    if b"\x00" in data[:4096]:
        raise MalformedTable(path, None, "it is no text file; export the table as comma-separated text")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    if not text.strip():
        raise MalformedTable(path, None, "the file is empty")
    return text.splitlines()


def _find_table(
    path: Path, lines: list[str], wanted: Wanted, skip_lines: int | None
) -> tuple[int, str, dict[str, Place], bool]:
    """Return the table's first line (from 0), its delimiter, its columns, and whether that line is a header."""
    if skip_lines is not None and skip_lines >= len(lines):
        raise MalformedTable(path, None, f"--skip {skip_lines} skips all of its {len(lines)} lines")
    candidates = range(len(lines)) if skip_lines is None else (skip_lines,)
    best = _Complaint()
    for number in candidates:
        for delimiter in DELIMITERS:
            cells = [cell.strip() for cell in next(csv.reader([lines[number]], delimiter=delimiter), [])]
            if _holds_numbers(cells, wanted, delimiter):
                return number, delimiter, _by_number(wanted), False
            places = _by_name(cells, wanted, number + 1, best)
            if places is not None:
                return number, delimiter, places, True
    raise MalformedTable(path, best.line, best.why or _nothing_fits(wanted))


@dataclass(slots=True)
class _Complaint:
    """The most helpful reason so far why no line fits: that of the line which names most of what is wanted."""

    line: int | None = None
    why: str = ""
    fits: int = 0

    def consider(self, line: int, fits: int, why: str) -> None:
        if fits > self.fits:
            self.line, self.why, self.fits = line, why, fits


def _nothing_fits(wanted: Wanted) -> str:
    names = ", ".join(f"{name}_UNIT" if name in wanted.quantities else name for name in wanted.required)
    return f"no line names the columns {names}, UNIT being as in time_s, displacement_mm, force_N" + (
        "; name them in the file or map them, as in --column force=3:gf" if "force" in wanted.quantities else ""
    )


def _by_number(wanted: Wanted) -> dict[str, Place]:
    return {choice.quantity: Place(int(choice.column) - 1, choice.unit) for choice in wanted.choices}


def _holds_numbers(cells: list[str], wanted: Wanted, delimiter: str) -> bool:
    """Tell whether all that is required was mapped by column number and these cells hold such numbers."""
    if not {choice.quantity for choice in wanted.choices} >= set(wanted.required):
        return False
    if not all(choice.column.isdecimal() for choice in wanted.choices):
        return False
    for name, place in _by_number(wanted).items():
        if not 0 <= place.index < len(cells):
            return False
        if name in wanted.quantities and not _is_number(cells[place.index], delimiter):
            return False
    return True


def _is_number(cell: str, delimiter: str) -> bool:
    try:
        float(cell.replace(",", ".") if delimiter == ";" else cell)
    except ValueError:
        return False
    return True


def _by_name(cells: list[str], wanted: Wanted, line: int, best: _Complaint) -> dict[str, Place] | None:
    """Return the places of all columns if these cells are the header; leave a complaint if they nearly are."""
    places: dict[str, Place] = {}
    problems: list[str] = []
    for index, cell in enumerate(cells):
        try:
            named = _named(cell, wanted)
        except UnknownUnit as fault:
            problems.append(f"column {cell!r}: {fault}")
            continue
        if named is None or named[0] in (choice.quantity for choice in wanted.choices):
            continue
        if named[0] in places:
            problems.append(f"two columns give {named[0]}; choose one, as in --column {named[0]}={index + 1}:UNIT")
        places[named[0]] = Place(index, named[1])
    for choice in wanted.choices:
        column = _chosen_column(choice, cells)
        if column is None:
            problems.append(f"there is no column {choice.column!r} for {choice.quantity}")
        else:
            places[choice.quantity] = Place(column, choice.unit)
    absent = [name for name in wanted.required if name not in places]
    if not problems and not absent:
        return places
    columns = ", ".join(repr(cell) for cell in cells)
    why = problems[0] if problems else f"no column for {' and '.join(absent)} among {columns}; " + _hint(absent[0])
    best.consider(line, len(places) + len(problems), why)
    return None


def _hint(absent: str) -> str:
    remedy = f"add it or map it, as in --column {absent}=3:{next(iter(PINT_NAMES.get(absent, {'': ''})))}"
    return remedy.rstrip(":") + (", or give --rate HZ" if absent == "time" else "")


def _named(cell: str, wanted: Wanted) -> tuple[str, str] | None:
    """Return the quantity and unit that a header cell names, None if it names nothing wanted."""
    if cell.lower() in wanted.words:
        return cell.lower(), ""
    found = re.fullmatch(r"([A-Za-z]+)_(\S+)", cell)
    if not found or found[1].lower() not in wanted.quantities:
        return None
    quantity, unit = found[1].lower(), found[2]
    factor_to_ours(quantity, unit)
    return quantity, unit


def _chosen_column(choice: ColumnChoice, cells: list[str]) -> int | None:
    if choice.column in cells:
        return cells.index(choice.column)
    if choice.column.isdecimal() and 1 <= int(choice.column) <= len(cells):
        return int(choice.column) - 1
    return None


def _cells(path: Path, lines: list[str], first: int, delimiter: str) -> tuple[pd.DataFrame, NDArray[np.int64]]:
    filled = [number for number in range(first, len(lines)) if lines[number].strip(f" {delimiter}")]
    text = "\n".join(lines[number] for number in filled)
    if not text:
        return pd.DataFrame(), np.empty(0, np.int64)
    try:
        cells = pd.read_csv(io.StringIO(text), sep=delimiter, header=None, dtype=str, keep_default_na=False)
    except pd.errors.ParserError as fault:
        ragged = re.search(r"Expected (\d+) fields in line (\d+), saw (\d+)", str(fault))
        if not ragged:
            raise MalformedTable(path, None, f"the rows cannot be split into columns ({fault})") from fault
        line = filled[int(ragged[2]) - 1] + 1
        raise MalformedTable(path, line, f"{ragged[3]} columns where the rows before have {ragged[1]}") from fault
    return cells, np.array(filled) + 1
