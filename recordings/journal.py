"""A journal: records appended one by one, each with its length and CRC-32, so that a torn end is seen and left out.

How it works: a record is length u32, CRC-32 u32, kind u8, payload. Reading stops at the first record that is not
whole: after a power cut that is the one that was being written, and nothing after it can be trusted. When the disk is
full, what was written of a record is taken back, so the journal stays whole and can be gone on with.
"""

from __future__ import annotations

import os
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from struct import Struct

from recordings.errors import CannotWrite

SYNC_EVERY_S = 1.0
"""At most this much is lost when the power fails; a sync takes some milliseconds."""

_HEAD = Struct("<IIB")


class Journal:
    """An open journal, to be written."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = path.open("wb", buffering=0)
        self._whole = 0
        """Bytes of whole records."""
        self._synced_at = time.monotonic()

    def append(self, kind: int, payload: bytes) -> None:
        """Add a record; it is with the operating system on return and on the disk within SYNC_EVERY_S.

        Raises CannotWrite if the disk takes no more.
        """
        record = memoryview(_HEAD.pack(len(payload), zlib.crc32(payload, kind), kind) + payload)
        try:
            written = 0
            while written < len(record):  # a disk that fills up takes a part first and refuses the rest
                written += self._file.write(record[written:])
            self._whole += written
            if time.monotonic() - self._synced_at > SYNC_EVERY_S:
                self.sync()
        except OSError as fault:
            self._file.truncate(self._whole)
            self._file.seek(self._whole)
            raise CannotWrite(self.path, fault.strerror or str(fault)) from fault

    def sync(self) -> None:
        """Force everything to the disk."""
        os.fsync(self._file.fileno())
        self._synced_at = time.monotonic()

    def close(self) -> None:
        """Close the journal; what was appended stays."""
        self._file.close()


def read_journal(path: Path) -> Iterator[tuple[int, bytes]]:
    """Yield (kind, payload) of every whole record from the start, up to the first that is not whole."""
    data = path.read_bytes()
    place = 0
    while place + _HEAD.size <= len(data):
        length, check, kind = _HEAD.unpack_from(data, place)
        payload = data[place + _HEAD.size : place + _HEAD.size + length]
        if len(payload) < length or zlib.crc32(payload, kind) != check:
            return
        yield kind, payload
        place += _HEAD.size + length
