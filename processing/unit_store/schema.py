"""What a row of the store is: one key of one measuring, and one row without a key for the unit as a whole.

How it works: every row carries what is known of the whole measuring, so that no question needs a second table; such
columns repeat and take next to nothing on the disk. Then follow, for every measurand, its value and its standard
uncertainty, in N, mm, mJ, kg, ms as in JSON. Files say the version of their schema; one that only grew by columns stays
readable.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from processing.calibration_status import calibration_status
from processing.errors import StoreLibrary
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult
from processing.stages import KeyResult
from recordings.calibration_file import content_id
from recordings.keys import Key

if TYPE_CHECKING:
    import pyarrow as pa

VERSION = 1
ABOUT = b"keyplumb.unit_store"
"""The entry of a file's metadata that makes it one of ours: JSON with `schema` and `replaces`."""
Reasons = Sequence[tuple[str, str | None]]
"""Why a unit is not good: code, and the name of the key or None for the unit as a whole."""
LIBRARIES = ("pyarrow", "duckdb")


def demand_libraries() -> None:
    """Raise StoreLibrary if the store's libraries are not installed."""
    for library in LIBRARIES:
        if find_spec(library) is None:
            raise StoreLibrary(library)


def store_schema(replaces: Sequence[str] = ()) -> pa.Schema:
    """Return the columns of every file. replaces: names of files in the same folder that a packed one stands for."""
    import pyarrow as pa

    text, when = pa.string(), pa.timestamp("us")
    of_the_measuring = {
        "measuring_id": text, "model": text, "serial": text, "measured_at_utc": when, "added_at_utc": when,
        "operator": text, "rig": text, "calibration": text, "calibration_id": text, "software_version": text,
        "recording_sha256": text, "outcome": text,
    }  # fmt: skip
    of_the_key = {"number": pa.int8(), "key": text, "colour": text, "reasons": pa.list_(text)}
    numbers = {name: pa.float64() for feature in FEATURES for name in (feature.name, f"{feature.name}_u")}
    about = json.dumps({"schema": VERSION, "replaces": list(replaces)}).encode()
    return pa.schema(of_the_measuring | of_the_key | numbers, metadata={ABOUT: about})


def measuring_table(
    result: KeyboardResult,
    *,
    measuring_id: str,
    model: str,
    serial: str | None,
    outcome: str | None,
    reasons: Reasons,
    recording_sha256: str | None,
) -> pa.Table:
    """Return the rows of one measuring: the unit's own first, then every key that was recorded or has a reason."""
    import pyarrow as pa

    common = _of_the_measuring(result) | {
        "measuring_id": measuring_id, "model": model, "serial": serial, "outcome": outcome,
    }  # fmt: skip
    common["recording_sha256"] = recording_sha256 or result.header.run.source_sha256
    why: dict[str | None, list[str]] = defaultdict(list)
    for code, key_name in reasons:
        why[None if key_name is None else Key.from_name(key_name).name].append(code)
    measured = {key.key.name: _numbers(key) for key in result.keys}
    keys = sorted(Key.from_name(name) for name in {*measured, *(name for name in why if name is not None)})
    rows = [common | {"reasons": why[None]}]
    rows += [
        common | {"number": key.number, "key": key.name, "colour": key.colour, "reasons": why[key.name]}
        | measured.get(key.name, {})
        for key in keys
    ]  # fmt: skip
    return pa.Table.from_pylist(rows, schema=store_schema())


def _of_the_measuring(result: KeyboardResult) -> dict[str, Any]:
    run, rig, record = result.header.run, result.header.rig, result.header.calibration.record
    name = " ".join(part for part in (rig.model, rig.serial_number) if part)
    return {
        "measured_at_utc": run.started_at.astimezone(UTC).replace(tzinfo=None),
        "added_at_utc": datetime.now(UTC).replace(tzinfo=None),
        "operator": run.operator,
        "rig": name or None,
        "calibration": calibration_status(result.header),
        "calibration_id": None if record is None else content_id(record),
        "software_version": run.software_version,
    }


def _numbers(key: KeyResult) -> dict[str, float | None]:
    return {
        name: value
        for measurement in key.measurements
        for name, value in ((measurement.name, measurement.value), (f"{measurement.name}_u", measurement.u))
    }
