"""Reads and writes calibration records as JSON text; what stands in them: `calibration_record.py`.

How it works: the text is checked in three steps, each with its own words: is it JSON (line and column), is it our
schema, does every part hold what it must (place in the file). Numbers are written with all their digits, so the same
record always gives the same text and the same id. Parts that are None are left out, so that parts which later versions
add do not change the ids of old records. A record is never written over another.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, is_dataclass
from datetime import datetime
from functools import cache
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recordings import calibration_record
from recordings.calibration_record import SCHEMA, CalibrationRecord
from recordings.errors import MalformedCalibration, NoSuchFile, RecordingExists
from recordings.safe_files import whole_or_nothing

if TYPE_CHECKING:
    from pydantic import TypeAdapter, ValidationError

FOLDER = "calibrations"
"""Where surveys look for records: a folder of this name beside the recording to be written."""


def record_as_dict(record: CalibrationRecord) -> dict[str, Any]:
    """Return a record as the plain data that its file holds, schema and id first."""
    content = _content(record)
    return {"schema": SCHEMA, "id": _hash(content), **content}


def content_id(record: CalibrationRecord) -> str:
    """Return the id of a record: SHA-256, in hex, of its JSON without the id, keys sorted, no spaces, UTF-8."""
    return _hash(_content(record))


def record_as_text(record: CalibrationRecord) -> str:
    """Return a record as the text of its file."""
    return json.dumps(record_as_dict(record), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_calibration(path: Path, record: CalibrationRecord) -> str:
    """Write a record to a file of its own and return its id.

    Raises RecordingExists if there is a file of that name, CannotWrite if the folder is not there or full.
    """
    if path.exists():
        raise RecordingExists(path)
    with whole_or_nothing(path) as temporary:
        temporary.write_text(record_as_text(record), encoding="utf-8")
    return content_id(record)


def read_calibration(path: Path) -> CalibrationRecord:
    """Return the record in a file. Raises NoSuchFile, MalformedCalibration (file, place and reason)."""
    if not path.is_file():
        raise NoSuchFile(path)
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as fault:
        raise MalformedCalibration(str(path), "", "it is no text file") from fault
    return record_from_text(text, str(path))


def record_from_text(text: str, source: str) -> CalibrationRecord:
    """Return the record in a text; source is named in errors. Raises MalformedCalibration."""
    found = _parsed(text, source)
    if not isinstance(found, dict) or found.get("schema") != SCHEMA:
        schema = found.get("schema") if isinstance(found, dict) else None
        why, advice = f"it is {schema!r}; this keyplumb reads {SCHEMA!r}", "a newer keyplumb may be needed"
        raise MalformedCalibration(source, "schema", why, advice)
    content = {name: value for name, value in found.items() if name not in ("schema", "id")}
    record = _validated(content, source)
    if found.get("id") != content_id(record):
        raise MalformedCalibration(
            source, "id", "it does not fit the content: the record was changed after it was made"
        )
    return record


def _content(record: CalibrationRecord) -> dict[str, Any]:
    plain: dict[str, Any] = _without_none(asdict(record))
    return plain


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _without_none(inside) for name, inside in value.items() if inside is not None}
    if isinstance(value, (list, tuple)):
        return [_without_none(inside) for inside in value]
    if isinstance(value, Real):
        return float(value)  # 4 and 4.0 are the same number and must give the same id
    return value.isoformat() if isinstance(value, datetime) else value


def _hash(content: dict[str, Any]) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _parsed(text: str, source: str) -> Any:
    def without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in pairs]
        doubled = next((name for name in names if names.count(name) > 1), None)
        if doubled is not None:
            raise MalformedCalibration(source, doubled, "it is there twice")
        return dict(pairs)

    try:
        return json.loads(text, object_pairs_hook=without_doubles)
    except json.JSONDecodeError as fault:
        place = f"line {fault.lineno}, column {fault.colno}"
        raise MalformedCalibration(source, place, f"it is no JSON ({fault.msg})") from fault
    except RecursionError as fault:
        raise MalformedCalibration(source, "", "it is no calibration record: it is nested too deeply") from fault


def _validated(content: dict[str, Any], source: str) -> CalibrationRecord:
    from pydantic import ValidationError

    try:
        return _adapter().validate_json(json.dumps(content), strict=True)
    except ValidationError as fault:
        raise MalformedCalibration(source, *_first_fault(fault)) from fault


@cache
def _adapter() -> TypeAdapter[CalibrationRecord]:
    from pydantic import ConfigDict, TypeAdapter, with_config

    strict = with_config(ConfigDict(extra="forbid", allow_inf_nan=False))
    for part in vars(calibration_record).values():
        if isinstance(part, type) and is_dataclass(part):
            strict(part)
    return TypeAdapter(CalibrationRecord)


def _first_fault(fault: ValidationError) -> tuple[str, str]:
    """Return place and reason of the first thing that is wrong, in our words where it is our own law."""
    first = fault.errors(include_url=False)[0]
    place = ""
    for part in first["loc"]:
        place += f"[{part}]" if isinstance(part, int) else f".{part}" if place else part
    return place, first["msg"].removeprefix("Value error, ")
