"""Readings of gauge studies from CSV tables: who read which part, what references were read as, day after day.

How it works: the first line names the columns; their order does not matter. Cells are separated by commas, semicolons
or tabs; with semicolons, a comma inside a number is a decimal comma. An optional column `unit` gives a unit of
force or length (N mN gf kgf ozf lbf; mm um in), which becomes N or mm; any other unit stays as it is. A line that
cannot be understood is told with file, line and reason, and nothing is used.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from processing.errors import MalformedStudy
from processing.gauge.bias_linearity import Against
from processing.gauge.nested import DayMean
from processing.gauge.readings import Reading
from processing.gauge.stability import Day, day_of
from recordings.units import OURS, PINT_NAMES, factor_to_ours

T = TypeVar("T")

ALSO_CALLED = {"part": ("key",), "operator": ("rig",), "day": ("date",), "u": ("reference_u",)}
SEPARATORS = (",", ";", "\t")
OF_STUDY, OF_RIGS = ("part", "operator", "trial", "value"), ("key", "rig", "trial", "value")
"""Columns of a crossed table, as they are called where operators or rigs are studied."""
NO_UNIT = "1"
VALUE = "value"
"""Name of what was read, where the table does not say."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table."""

    place: str
    cells: Mapping[str, str]
    decimal_comma: bool

    def number(self, column: str, default: str | None = None) -> float:
        """Return a cell as a finite number. Raises MalformedStudy."""
        text = self.cells.get(column) or default or ""
        try:
            value = float(text.replace(",", ".") if self.decimal_comma else text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise MalformedStudy(f"{self.place}, {column}", f"{text!r} is no number", "write a decimal number")
        return value


def read_crossed(path: Path, called: tuple[str, ...] = OF_STUDY) -> dict[str, tuple[str, list[Reading]]]:
    """Return the readings of a crossed study, and their unit, by measurand.

    Columns part (or key), operator (or rig), trial, value; optional measurand and unit.
    called: these columns, as an error calls them. Raises MalformedStudy.
    """
    found: dict[str, tuple[str, list[Reading]]] = {}
    for row in _rows(path, called):
        unit, factor = _unit(row)
        known, readings = found.setdefault(row.cells.get("measurand") or VALUE, (unit, []))
        _demand_same(row, known, unit)
        part, operator, trial = (row.cells[name] for name in ("part", "operator", "trial"))
        readings.append(Reading(part, operator, trial, factor * row.number("value")))
    return found


def read_against(path: Path) -> tuple[str, list[Against]]:
    """Return readings of references, and their unit.

    Columns reference, value; optional u (standard uncertainty of the reference) and unit. Raises MalformedStudy.
    """

    def read(row: Row, factor: float) -> Against:
        u = row.number("u", "0")
        if u < 0.0:
            raise MalformedStudy(f"{row.place}, u", f"{u:g} is below 0", "give the standard uncertainty, or nothing")
        return Against(factor * row.number("reference"), factor * row.number("value"), factor * u)

    return _of_one_unit(path, ("reference", "value"), read)


def read_days(path: Path) -> tuple[str, list[Day]]:
    """Return the days of a check standard, in the table's order, and their unit.

    Columns day (or date), value; optional unit. Lines of the same day are repeated readings. Raises MalformedStudy.
    """
    unit, rows = _of_one_unit(
        path, ("day", "value"), lambda row, factor: (row.cells["day"], factor * row.number("value"))
    )
    by_day: dict[str, list[float]] = {}
    for day, value in rows:
        by_day.setdefault(day, []).append(value)
    return unit, [day_of(day, values) for day, values in by_day.items()]


def read_nested(path: Path) -> tuple[str, list[DayMean]]:
    """Return the days of a nested study, and their unit.

    Columns part (or key), run, day, value; optional unit. Lines of the same key, run and day are repeated readings.
    Raises MalformedStudy.
    """

    def read(row: Row, factor: float) -> tuple[tuple[str, ...], float]:
        return tuple(row.cells[name] for name in ("part", "run", "day")), factor * row.number("value")

    unit, rows = _of_one_unit(path, ("key", "run", "day", "value"), read)
    found: dict[tuple[str, ...], list[float]] = {}
    for place, value in rows:
        found.setdefault(place, []).append(value)
    days = []
    for (part, run, day), values in found.items():
        told = day_of(day, values)
        days.append(DayMean(part, run, day, told.mean, told.sd or 0.0, len(values)))
    return unit, days


def _of_one_unit(path: Path, needed: tuple[str, ...], read: Callable[[Row, float], T]) -> tuple[str, list[T]]:
    known, found = None, []
    for row in _rows(path, needed):
        unit, factor = _unit(row)
        known = unit if known is None else known
        _demand_same(row, known, unit)
        found.append(read(row, factor))
    return known or NO_UNIT, found


def _rows(path: Path, needed: tuple[str, ...]) -> Iterator[Row]:
    """Yield the lines of a table. needed: its columns, as they are called where the table is asked for."""
    reader, separator = _reader(path, needed)
    names = [_named(name) for name in next(reader)]
    missing = [name for name in needed if _named(name) not in names]
    if missing:
        raise MalformedStudy(
            f"{path}, line 1", f"no column {' and '.join(missing)}", f"name the columns {', '.join(needed)}"
        )
    holds_any = False
    for cells in filter(None, reader):
        holds_any = True
        yield _row(f"{path}, line {reader.line_num}", names, cells, needed, decimal_comma=separator == ";")
    if not holds_any:
        raise MalformedStudy(str(path), "it names columns but holds no reading", "write a line for every reading")


def _reader(path: Path, needed: tuple[str, ...]) -> tuple[Any, str]:
    """Return a csv.reader that stands before the names, and what separates cells: what splits them into most names."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError as fault:
        raise MalformedStudy(str(path), "it is no UTF-8 text", "save the table as CSV in UTF-8") from fault
    if not lines:
        raise MalformedStudy(str(path), "it is empty", f"its first line names the columns: {', '.join(needed)}")
    separator = max(SEPARATORS, key=lines[0].count)
    return csv.reader(lines, delimiter=separator), separator


def _row(place: str, names: list[str], cells: list[str], needed: tuple[str, ...], *, decimal_comma: bool) -> Row:
    if len(cells) != len(names):
        raise MalformedStudy(place, f"{len(cells)} cells under {len(names)} names", "mend or remove this line")
    row = Row(place, dict(zip(names, (cell.strip() for cell in cells), strict=True)), decimal_comma)
    empty = [name for name in needed if not row.cells[_named(name)]]
    if empty:
        raise MalformedStudy(place, f"{' and '.join(empty)} is empty", "fill it in, or remove this line")
    return row


def _named(name: str) -> str:
    plain = name.strip().lower()
    return next((ours for ours, others in ALSO_CALLED.items() if plain in others), plain)


def _unit(row: Row) -> tuple[str, float]:
    told = row.cells.get("unit") or NO_UNIT
    for quantity in ("force", "displacement"):
        if told in PINT_NAMES[quantity]:
            return OURS[quantity], factor_to_ours(quantity, told)
    return told, 1.0


def _demand_same(row: Row, known: str, unit: str) -> None:
    if unit != known:
        raise MalformedStudy(f"{row.place}, unit", f"{unit} after {known}", "tell one quantity in one kind of unit")
