"""The raw readings of one calibration, in a CSV file beside its record, so that a later fit starts from counts.

How it works: a first line says what the file is, a second holds the head as JSON: which rig, when, by whom, the scales
that the rig states, and the text of the list of masses or blocks as it was. Then a table. Of a force calibration a row
is a reading (its masses, mean counts, ...); of the others a row is one sample of a press, and a press says what stood
under the plunger. What was repeated stays, with the reason in `set_aside`. A file is never written over.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, is_dataclass, replace
from datetime import datetime
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TextIO

import numpy as np

from recordings import calibration_record, types
from recordings.calibration_record import Environment, RigIdentity, Room
from recordings.errors import MalformedReadings, NoSuchFile, RecordingExists
from recordings.safe_files import whole_or_nothing
from recordings.types import Calibration, RawTrace

if TYPE_CHECKING:
    from pydantic import TypeAdapter

SCHEMA = "keyplumb.readings/1"
WHAT_IT_IS = (
    "# keyplumb: raw readings of one calibration; to make a record of them: keyplumb calibrate {kind} --from FILE"
)
Kind = Literal["force", "displacement", "compliance", "skew"]
LOAD_COLUMNS = ("step", "masses", "mean_counts", "sd_counts", "samples", "time_s", "settled", "set_aside")
PRESS_COLUMNS = (
    "press", "under", "speed_mm_per_s", "set_aside", "sample_number", "tick_us", "force_counts", "displacement_counts",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedGravity:
    """Local gravity as it was given, with its standard uncertainty and where it comes from."""

    m_per_s2: float
    u_m_per_s2: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsHead:
    """All that is needed to make a record from the counts again."""

    kind: Kind
    rig: RigIdentity
    made_at: datetime
    """UTC, with its time zone."""
    software_version: str
    stated: Calibration
    """The scales that the rig states; its `record` is the one that was in force, if there was one."""
    force_range_counts: tuple[float, float] | None = None
    """Where the cell or its converter ends; None: not known."""
    operator: str | None = None
    room: Room | None = None
    environment: Environment | None = None
    gravity: StatedGravity | None = None
    references: str = ""
    """The list of masses or blocks, as the text of its TOML file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadReading:
    """One reading of the cell while some masses should have lain on it; none: the empty pan."""

    masses: tuple[str, ...]
    mean_counts: float
    sd_counts: float
    """Of one sample."""
    samples: int
    time_s: float
    """Middle of the reading, by the rig's clock."""
    settled: bool
    set_aside: str = ""
    """Why it does not count; empty: it does."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PressReading:
    """The samples of one press, from air to air, and what stood under the plunger: a block's name, `stop`..."""

    under: str
    speed_mm_per_s: float | None
    """As the motor was told; None: a person pressed."""
    trace: RawTrace
    set_aside: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CalibrationReadings:
    """The head, and loads or presses, in the order in which they were taken."""

    head: ReadingsHead
    loads: tuple[LoadReading, ...] = ()
    presses: tuple[PressReading, ...] = ()


def write_readings(path: Path, readings: CalibrationReadings) -> None:
    """Write readings to a file of their own. Raises RecordingExists, CannotWrite."""
    if path.exists():
        raise RecordingExists(path)
    with whole_or_nothing(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        _write(file, readings)


def _write(file: TextIO, readings: CalibrationReadings) -> None:
    head = readings.head
    file.write(WHAT_IT_IS.format(kind=head.kind) + "\n")
    file.write("# " + json.dumps({"schema": SCHEMA, **_adapter().dump_python(head, mode="json")}) + "\n")
    rows = csv.writer(file, lineterminator="\n")
    if head.kind == "force":
        rows.writerow(LOAD_COLUMNS)
        for number, one in enumerate(readings.loads, 1):
            rows.writerow((number, ";".join(one.masses), *list(asdict(one).values())[1:]))
        return
    rows.writerow(PRESS_COLUMNS)
    for number, press in enumerate(readings.presses, 1):
        about = (number, press.under, "" if press.speed_mm_per_s is None else press.speed_mm_per_s, press.set_aside)
        trace = press.trace
        columns = (trace.sample_number, trace.tick_us, trace.force_counts, trace.displacement_counts)
        rows.writerows((*about, *sample) for sample in zip(*(column.tolist() for column in columns), strict=True))


def read_readings(path: Path) -> CalibrationReadings:
    """Return the readings in a file. Raises NoSuchFile, MalformedReadings (file, line and reason)."""
    if not path.is_file():
        raise NoSuchFile(path)
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except UnicodeDecodeError as fault:
        raise MalformedReadings(path, 1, "it is no text file") from fault
    head = _head(path, lines)
    columns, parse = (LOAD_COLUMNS, _load) if head.kind == "force" else (PRESS_COLUMNS, _sample)
    if len(lines) < 3 or tuple(next(csv.reader([lines[2]]))) != columns:
        raise MalformedReadings(path, 3, f"the columns must be {','.join(columns)}")
    rows = list(_rows(path, lines[3:], len(columns), parse))
    if head.kind == "force":
        return CalibrationReadings(head=head, loads=tuple(rows))
    return CalibrationReadings(head=head, presses=tuple(_presses(rows)))


def _head(path: Path, lines: Sequence[str]) -> ReadingsHead:
    from pydantic import ValidationError

    try:
        found = json.loads(lines[1].removeprefix("# "))
        schema = found.pop("schema")
    except (IndexError, ValueError, KeyError, AttributeError) as fault:
        raise MalformedReadings(path, 2, "the head is missing; is it a file of calibration readings?") from fault
    if schema != SCHEMA:
        raise MalformedReadings(path, 2, f"it is {schema!r}; this keyplumb reads {SCHEMA!r}")
    try:
        return _adapter().validate_json(json.dumps(found))
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise MalformedReadings(path, 2, f"{place}: {first['msg']}") from fault


@cache
def _adapter() -> TypeAdapter[ReadingsHead]:
    from pydantic import ConfigDict, TypeAdapter, with_config

    closed = with_config(ConfigDict(extra="forbid", allow_inf_nan=False))
    for part in (*vars(calibration_record).values(), types.Calibration, types.LinearScale, StatedGravity, ReadingsHead):
        if isinstance(part, type) and is_dataclass(part) and not hasattr(part, "__pydantic_config__"):
            closed(part)
    return TypeAdapter(ReadingsHead)


def _rows(path: Path, lines: Sequence[str], width: int, parse: Any) -> Iterator[Any]:
    for number, cells in enumerate(csv.reader(lines), 4):
        try:
            if len(cells) != width:
                raise ValueError(f"{len(cells)} cells instead of {width}")
            yield parse(cells)
        except ValueError as fault:
            raise MalformedReadings(path, number, str(fault)) from fault


def _load(cells: list[str]) -> LoadReading:
    if cells[6] not in ("True", "False"):
        raise ValueError(f"settled must be True or False, not {cells[6]!r}")
    return LoadReading(
        masses=tuple(filter(None, cells[1].split(";"))),
        mean_counts=float(cells[2]),
        sd_counts=float(cells[3]),
        samples=int(cells[4]),
        time_s=float(cells[5]),
        settled=cells[6] == "True",
        set_aside=cells[7],
    )


_Sample = tuple[tuple[int, str, float | None, str], tuple[int, int, int, int]]


def _sample(cells: list[str]) -> _Sample:
    speed = float(cells[2]) if cells[2] else None
    number, tick, force, place = (int(cell) for cell in cells[4:])
    return (int(cells[0]), cells[1], speed, cells[3]), (number, tick, force, place)


def _presses(rows: Sequence[_Sample]) -> Iterator[PressReading]:
    for (_, under, speed, aside), samples in groupby(rows, key=lambda row: row[0]):
        table = np.array([sample for _, sample in samples], np.int64)
        trace = RawTrace(
            table[:, 0].copy(), table[:, 1].copy(), table[:, 2].astype(np.int32), table[:, 3].astype(np.int32)
        )
        yield PressReading(under=under, speed_mm_per_s=speed, trace=trace, set_aside=aside)


def without_set_aside(readings: CalibrationReadings) -> CalibrationReadings:
    """Return only what counts."""
    return replace(
        readings,
        loads=tuple(one for one in readings.loads if not one.set_aside),
        presses=tuple(one for one in readings.presses if not one.set_aside),
    )
