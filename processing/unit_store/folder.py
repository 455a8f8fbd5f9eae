"""Which files of the store count just now.

How it works: every file is looked at once (files never change). A packed file names the parts it replaces; those do not
count any more, whether they are still there or not. A folder is not listed in one instant: parts might be deleted
before the listing reaches them, and the packed file published behind it. So packed files are listed once more
afterwards; a new one means that all is listed anew. What is damaged or foreign is named and left alone.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from processing.errors import StoreUnsettled
from processing.unit_store.schema import ABOUT, VERSION

FOLDER_PREFIX, PACKED_PREFIX, ENDING = "model=", "packed_", ".parquet"
MOST_LISTINGS = 50
"""Each repetition needs another packing just then; so many are no chance."""


@dataclass(frozen=True, slots=True)
class StoreFile:
    """A file of the store."""

    path: Path
    rows: int
    columns: tuple[str, ...]
    replaces: frozenset[str]
    """Names of files in the same folder."""


@dataclass(frozen=True, slots=True)
class Stranger:
    """A file in the store that is damaged or foreign; it is left out of everything."""

    path: Path
    why: str


@dataclass(frozen=True, slots=True)
class Listing:
    """What counts, and what is left out. Both in the order of their names."""

    files: tuple[StoreFile, ...]
    strangers: tuple[Stranger, ...]


class Lister:
    """Lists the store again and again; what was looked at is remembered.

    thorough: every page of every file is read once and held against its checksum; else only the ends of files are.
    """

    def __init__(self, *, thorough: bool = False) -> None:
        self.thorough = thorough
        self._known: dict[tuple[Path, int, int], StoreFile | Stranger] = {}

    def listing(self, folders: list[Path]) -> Listing:
        """Return what counts in some folders. Raises StoreUnsettled."""
        for _ in range(MOST_LISTINGS):
            found = self._looked_at(folders)
            if found is not None:
                return found
        raise StoreUnsettled(folders[0].parent)

    def _looked_at(self, folders: list[Path]) -> Listing | None:
        """Return what counts, or None if it changed meanwhile."""
        paths = [path for folder in folders for path in _parquet_files(folder)]
        try:
            items = [self._item(path) for path in paths]
        except FileNotFoundError:
            return None
        before = set(paths)
        if any(path not in before for folder in folders for path in _parquet_files(folder) if is_packed(path)):
            return None
        files = [item for item in items if isinstance(item, StoreFile)]
        gone = {file.path.parent / name for file in files for name in file.replaces}
        return Listing(
            tuple(file for file in files if file.path not in gone),
            tuple(item for item in items if isinstance(item, Stranger)),
        )

    def _item(self, path: Path) -> StoreFile | Stranger:
        told = path.stat()
        key = (path, told.st_size, told.st_mtime_ns)
        if key not in self._known:
            self._known[key] = look_at(path, thorough=self.thorough)
        return self._known[key]

    def look_thoroughly(self) -> bool:
        """From now on read every page, also of files that are known; return False if that was so already."""
        if self.thorough:
            return False
        self.thorough = True
        self._known.clear()
        return True


def look_at(path: Path, *, thorough: bool) -> StoreFile | Stranger:
    """Return what a file is. Raises FileNotFoundError."""
    found = _by_its_end(path)
    if thorough and isinstance(found, StoreFile):
        return _every_page(path) or found
    return found


def _every_page(path: Path) -> Stranger | None:
    """Read a whole file and return what is wrong with it."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        with parquet.ParquetFile(path, page_checksum_verification=True) as opened:
            for group in range(opened.num_row_groups):
                opened.read_row_group(group)
    except FileNotFoundError:
        raise
    except (OSError, pa.ArrowException) as fault:
        return Stranger(path, f"damaged inside ({str(fault).splitlines()[0][:100]})")
    return None


def _by_its_end(path: Path) -> StoreFile | Stranger:
    import pyarrow as pa
    from pyarrow import parquet

    try:
        footer = parquet.read_metadata(path)
    except FileNotFoundError:
        raise
    except (OSError, pa.ArrowException) as fault:
        return Stranger(path, f"damaged, or no Parquet file ({str(fault).splitlines()[0][:100]})")
    try:
        about = json.loads((footer.metadata or {})[ABOUT])
        version, replaces = int(about["schema"]), frozenset(map(str, about["replaces"]))
    except (KeyError, TypeError, ValueError):
        return Stranger(path, "a Parquet file, but no part of a store of units")
    if version > VERSION:
        return Stranger(path, f"written by a newer keyplumb (schema {version}; this one knows {VERSION})")
    columns = tuple(footer.schema.to_arrow_schema().names)
    return StoreFile(path, footer.num_rows, columns, replaces)


def model_folders(store: Path) -> list[Path]:
    """Return the folders of a store, one a model."""
    return sorted(path for path in store.iterdir() if path.name.startswith(FOLDER_PREFIX) and path.is_dir())


def loose_count(folder: Path) -> int:
    """Return how many small files a folder has."""
    return sum(not is_packed(path) for path in _parquet_files(folder))


def is_packed(path: Path) -> bool:
    """Return whether a file is named like one that stands for several."""
    return path.name.startswith(PACKED_PREFIX)


def _parquet_files(folder: Path) -> Iterator[Path]:
    with os.scandir(folder) as entries:
        names = sorted(entry.name for entry in entries)
    return (folder / name for name in names if name.endswith(ENDING) and not name.startswith("."))
