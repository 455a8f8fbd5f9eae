"""A table into a file that is there whole or not at all; its ending is its format.

How it works: a table comes in pieces, one a key, so that samples of a whole keyboard need no more memory than one key.
CSV is plain: UTF-8, commas, decimal points, empty cells for what is missing. Parquet and Excel carry what the table is
about with them: Parquet in its metadata under `keyplumb`, Excel on a sheet of its own. Their libraries are not part of
the base install and are loaded when they are needed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from processing.errors import FileIsThere, MissingLibrary, TooManyRows, UnknownEnding
from recordings.errors import NoSuchFolder
from recordings.safe_files import whole_or_nothing

if TYPE_CHECKING:
    import pandas as pd

About = dict[str, str]
MOST_EXCEL_ROWS = 1_048_576
"""Of a sheet, its head included; what Excel states of itself, from memory."""


def demand_place(path: Path, *, replace: bool) -> None:
    """Raise what would keep a table from being written to a path: UnknownEnding, MissingLibrary, NoSuchFolder,
    FileIsThere unless a file there may be replaced."""
    if path.suffix.lower() not in WRITERS:
        raise UnknownEnding(path.name, tuple(WRITERS))
    library = LIBRARIES.get(path.suffix.lower())
    if library is not None and find_spec(library) is None:
        raise MissingLibrary(path.suffix, library)
    if not path.absolute().parent.is_dir():
        raise NoSuchFolder(path.parent)
    if path.is_dir() or (path.exists() and not replace):
        raise FileIsThere(path)


def write_table(pieces: Iterable[pd.DataFrame], path: Path, *, name: str, about: About) -> int:
    """Write the pieces of one table, one below the other, and return how many rows there are.

    All pieces have the same columns. name: of the table. Raises TooManyRows (Excel), CannotWrite, OSError.
    """
    with whole_or_nothing(path) as temporary:
        return WRITERS[path.suffix.lower()](pieces, temporary, name, about)


def _write_csv(pieces: Iterable[pd.DataFrame], path: Path, name: str, about: About) -> int:  # noqa: ARG001 - as the others
    rows = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        for piece in pieces:
            piece.to_csv(file, index=False, header=rows == 0, lineterminator="\n")
            rows += len(piece)
    return rows


def _write_parquet(pieces: Iterable[pd.DataFrame], path: Path, name: str, about: About) -> int:
    import pyarrow
    import pyarrow.parquet

    rows, writer = 0, None
    try:
        for piece in pieces:
            table = pyarrow.Table.from_pandas(piece, preserve_index=False)
            if writer is None:
                told = {**(table.schema.metadata or {}), "keyplumb": json.dumps({"table": name, **about})}
                writer = pyarrow.parquet.ParquetWriter(path, table.schema.with_metadata(told))
            writer.write_table(table.cast(writer.schema))
            rows += len(piece)
    finally:
        if writer is not None:
            writer.close()
    return rows


def _write_excel(pieces: Iterable[pd.DataFrame], path: Path, name: str, about: About) -> int:
    from openpyxl import Workbook

    rows = list(_excel_rows(pieces))
    book = Workbook(write_only=True)
    sheet = book.create_sheet(name)
    sheet.freeze_panes = "A2"
    for row in rows:
        sheet.append([_excel_cell(sheet, value) for value in row])
    beside = book.create_sheet("about")
    for line in about.items():
        beside.append([_excel_cell(beside, word) for word in line])
    book.save(path)
    return len(rows) - 1


def _excel_rows(pieces: Iterable[pd.DataFrame]) -> Iterator[list[Any]]:
    """Yield the head and the rows of a table. Raises TooManyRows."""
    rows = 0
    for piece in pieces:
        if rows == 0:
            rows += 1
            yield list(piece.columns)
        rows += len(piece)
        if rows > MOST_EXCEL_ROWS:
            raise TooManyRows(MOST_EXCEL_ROWS)
        yield from piece.astype(object).where(piece.notna(), None).to_numpy().tolist()


def _excel_cell(sheet: Any, value: Any) -> Any:
    """Return a value as Excel takes it: words stay words, even those that begin like a formula."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    if not isinstance(value, str):
        return value
    cell = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", value))
    cell.data_type = "s"
    return cell


Writer = Callable[[Iterable["pd.DataFrame"], Path, str, About], int]
WRITERS: dict[str, Writer] = {".csv": _write_csv, ".parquet": _write_parquet, ".xlsx": _write_excel}
LIBRARIES = {".parquet": "pyarrow", ".xlsx": "openpyxl"}
