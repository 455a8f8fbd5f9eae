"""Few large files of many small ones, without a row lost or doubled for anyone who reads meanwhile.

How it works: one program packs at a time (a lock on the folder). What an earlier packing left behind is deleted first.
Then one packed file is written whole, and from the moment it has its name it stands for the parts that it names; only
then the parts are deleted. A packing that dies anywhere leaves either the parts or both, and readers know which count.
Damaged and foreign files are left where they are; every page is held against its checksum before it is packed.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterable, Sequence
from pathlib import Path

from processing.unit_store.folder import ENDING, PACKED_PREFIX, Lister, StoreFile, is_packed
from processing.unit_store.schema import store_schema
from recordings.folder_lock import lock_folder
from recordings.safe_files import sync_folder, whole_or_nothing

SMALL_ROWS = 100_000
"""Packed files with fewer rows are packed again with the next parts; larger ones stay, or packing would get slow."""


def pack_folder(folder: Path) -> Path | None:
    """Pack the small files of one model's folder; return the new file, None if there was nothing to pack.

    Raises RecordingInUse if another program packs just now, OSError. On systems without folder locks nothing is packed.
    """
    if os.name != "posix":
        return None
    with lock_folder(folder):
        listing = Lister(thorough=True).listing([folder])
        _delete(folder, {name for file in listing.files for name in file.replaces})
        parts = [file for file in listing.files if not is_packed(file.path) or file.rows < SMALL_ROWS]
        if len(parts) < 2:
            return None
        return _packed(folder, parts)


def _packed(folder: Path, parts: Sequence[StoreFile]) -> Path:
    import pyarrow as pa
    from pyarrow import parquet

    names = [part.path.name for part in parts]
    schema = store_schema(names)
    tables = [parquet.ParquetFile(part.path).read() for part in parts]
    whole = pa.concat_tables(tables, promote_options="default").select(schema.names).cast(schema)
    path = folder / f"{PACKED_PREFIX}{secrets.token_hex(8)}{ENDING}"
    with whole_or_nothing(path) as temporary:
        parquet.write_table(whole, temporary, compression="zstd", write_page_checksum=True)
        if parquet.read_metadata(temporary).num_rows != sum(part.rows for part in parts):
            raise OSError(f"{path}: fewer rows were written than read; the parts are kept")
    _delete(folder, names)
    return path


def _delete(folder: Path, names: Iterable[str]) -> None:
    for name in set(names) & set(os.listdir(folder)):
        (folder / name).unlink(missing_ok=True)
    sync_folder(folder)
