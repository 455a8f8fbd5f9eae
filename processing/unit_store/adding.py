"""One more measuring in the store.

How it works: a measuring is one file with a name of its own (time, serial number, 64 random bits), written beside its
place, forced to the disk and renamed. So any number of programs may add at the same time, nothing is ever written over
and a reader sees a measuring whole or not at all. After every LOOSE files one of the writers packs them.
"""

from __future__ import annotations

import secrets
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from processing.errors import ProcessingError
from processing.keyboard import KeyboardResult
from processing.unit_store.folder import FOLDER_PREFIX, loose_count
from processing.unit_store.packing import pack_folder
from processing.unit_store.schema import Reasons, demand_libraries, measuring_table
from recordings.errors import RecordingError
from recordings.safe_files import sync_folder, whole_or_nothing

LOOSE = 256
"""Small files in a folder before they are packed: each costs a reader a millisecond or more."""
LONGEST_SERIAL = 60
"""Letters of a serial number in a file's name; the row has all of them."""


def add_unit(
    store: Path,
    result: KeyboardResult,
    *,
    model: str,
    serial: str | None,
    outcome: str | None = None,
    reasons: Reasons = (),
    recording_sha256: str | None = None,
) -> Path:
    """Add one measuring of a unit and return its file, which may be packed into a larger one later.

    store: the folder; it is made if it is not there. serial: None: unknown, so the unit is never taken for another.
    outcome: "pass", "fail", "cannot tell" or None: not judged. reasons: code and key name, or None for the unit.
    recording_sha256: of the recording's file; the same recording added again then replaces what was said before.
    Raises StoreLibrary, UnknownKey, CannotWrite, OSError.
    """
    demand_libraries()
    from pyarrow import parquet

    measuring_id = secrets.token_hex(8)
    table = measuring_table(
        result, measuring_id=measuring_id, model=model, serial=serial, outcome=outcome, reasons=reasons,
        recording_sha256=recording_sha256,
    )  # fmt: skip
    folder = _made_folder(store, model)
    path = folder / _name(result.header.run.started_at, serial, measuring_id)
    with whole_or_nothing(path) as temporary:
        parquet.write_table(table, temporary, write_page_checksum=True)
    if loose_count(folder) > LOOSE:
        with suppress(RecordingError, ProcessingError, OSError):  # the unit is safe; whoever comes next packs
            pack_folder(folder)
    return path


def _made_folder(store: Path, model: str) -> Path:
    folder = store / f"{FOLDER_PREFIX}{quote(model, safe=' ')}"
    if not folder.is_dir():
        folder.mkdir(parents=True, exist_ok=True)
        sync_folder(store)
    return folder


def _name(measured_at: datetime, serial: str | None, measuring_id: str) -> str:
    who = quote(serial or "no serial", safe=" ")[:LONGEST_SERIAL]
    return f"{measured_at.astimezone(UTC):%Y%m%dT%H%M%SZ}_{who}_{measuring_id}.parquet"
