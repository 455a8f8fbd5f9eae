"""From tables that other rigs wrote (`time_s, displacement_mm, force_N`) to a recording of our own kind.

How it works: values become integer counts so fine that nothing of the file is lost (1 uN, 1 nm, 1 us), with scales
that say so; from there on an imported recording is like any other. Where a table has a `key` column, each key gets its
own trace. Nothing is returned unless every row is good.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from recordings.errors import MalformedTable, UnknownKey
from recordings.keys import Key
from recordings.text_table import ColumnChoice, TextTable, Wanted, read_text_table
from recordings.types import (
    CONTACT,
    MIDI_IN,
    Calibration,
    Header,
    KeyRecording,
    LinearScale,
    RawEvents,
    RawTrace,
    Recording,
    RigInfo,
    RunInfo,
)

COUNTS_PER_NEWTON = COUNTS_PER_MM = 1_000_000
MOST_COUNTS = 2**31 - 1
LONGEST_US = 4 * 10**15
"""More than a century: seconds since 1970 are fine, whatever is longer is no time of a recording."""
EVENT_SLACK_US = 1_000_000
FEWEST_ROWS = 20
DEFAULT_VELOCITY = 64
EVENT_BYTES = {"note_on": 0x90, "note_off": 0x80, "contact_closed": 1, "contact_open": 0}


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportChoices:
    """What the user says about a table beyond what stands in it."""

    key: Key | None = None
    """The key of the whole table; None: it has a `key` column."""
    rate_hz: float | None = None
    """Samples per second of a table without time."""
    skip_lines: int | None = None
    columns: tuple[ColumnChoice, ...] = ()
    instrument: str | None = None
    serial: str | None = None
    software_version: str = "unknown"


def import_table(path: Path, choices: ImportChoices, *, events: Path | None = None) -> Recording:
    """Return the recording in a table of samples and, if given, a table of events.

    Raises MalformedTable (file, line, reason), NoSuchFile, UnknownUnit.
    """
    table = read_text_table(path, _wanted(choices), skip_lines=choices.skip_lines)
    if len(table) < FEWEST_ROWS:
        raise MalformedTable(path, None, f"it holds {len(table)} rows; a stroke needs at least {FEWEST_ROWS}")
    rows_of_key = _rows_of_key(table, choices)
    force = _counts(table, "force", COUNTS_PER_NEWTON)
    displacement = _counts(table, "displacement", COUNTS_PER_MM)
    tick_us = _ticks(table, choices, rows_of_key)
    span_of_key = {key: (tick_us[rows[0]], tick_us[rows[-1]]) for key, rows in rows_of_key.items()}
    events_of_key = _read_events(events, span_of_key) if events else {}
    keys = tuple(
        KeyRecording(
            key,
            RawTrace(np.arange(len(rows), dtype=np.int64), tick_us[rows], force[rows], displacement[rows]),
            events_of_key.get(key, RawEvents.none()),
        )
        for key, rows in rows_of_key.items()
    )
    return Recording(_header(path, choices, keys), keys, complete=True)


def _wanted(choices: ImportChoices) -> Wanted:
    optional = {"key"} if choices.key is not None else set()
    if choices.rate_hz is not None:
        optional.add("time")
    return Wanted(("time", "displacement", "force"), ("key",), frozenset(optional), choices.columns)


def _rows_of_key(table: TextTable, choices: ImportChoices) -> dict[Key, NDArray[np.intp]]:
    """Return for each key, in the order of the file, the indices of its rows."""
    if "key" not in table.places:
        assert choices.key is not None  # _wanted made the column obligatory otherwise
        return {choices.key: np.arange(len(table))}
    if choices.key is not None:
        raise MalformedTable(table.path, None, "it has a column of keys already; leave --key out")
    names = table.words("key")
    keys: dict[str, Key] = {}
    for row, name in enumerate(names):
        if name not in keys:
            try:
                keys[name] = Key.from_name(name)
            except UnknownKey as fault:
                raise table.refuse(row, str(fault)) from fault
    column = np.array([keys[name].number for name in names])
    return {key: np.flatnonzero(column == key.number) for key in dict.fromkeys(keys.values())}


def _ticks(table: TextTable, choices: ImportChoices, rows_of_key: dict[Key, NDArray[np.intp]]) -> NDArray[np.int64]:
    """Return the time of every row in whole microseconds; within a key it must not go back."""
    if "time" not in table.places:
        assert choices.rate_hz is not None
        counted: NDArray[np.int64] = np.rint(np.arange(len(table)) * (1e6 / choices.rate_hz)).astype(np.int64)
        return counted
    if choices.rate_hz is not None:
        raise MalformedTable(table.path, None, "it has a column of time already; leave --rate out")
    ticks = _plain_ticks(table)
    for rows in rows_of_key.values():
        back = np.flatnonzero(np.diff(ticks[rows]) < 0)
        if len(back):
            raise table.refuse(int(rows[back[0] + 1]), "time goes back")
        if len(rows) > 1 and ticks[rows[0]] == ticks[rows[-1]]:
            raise table.refuse(int(rows[-1]), "time stands still; is its unit right?")
    return ticks


def _plain_ticks(table: TextTable) -> NDArray[np.int64]:
    """Return a column of times in whole microseconds. Raises MalformedTable for times beyond LONGEST_US."""
    times = np.rint(table.numbers("time"))
    beyond = np.flatnonzero(np.abs(times) > LONGEST_US)
    if len(beyond):
        raise table.refuse(
            int(beyond[0]), f"a time beyond all recordings; is it really in {table.places['time'].unit}?"
        )
    ticks: NDArray[np.int64] = times.astype(np.int64)
    return ticks


def _counts(table: TextTable, quantity: str, counts_per_unit: int) -> NDArray[np.int32]:
    counts = np.rint(table.numbers(quantity) * counts_per_unit)
    too_large = np.flatnonzero(np.abs(counts) > MOST_COUNTS)
    if len(too_large):
        unit = table.places[quantity].unit
        raise table.refuse(int(too_large[0]), f"a {quantity} beyond all keyboards; is it really in {unit}?")
    return counts.astype(np.int32)


def _read_events(path: Path, span_of_key: dict[Key, tuple[int, int]]) -> dict[Key, RawEvents]:
    wanted = Wanted(("time",), ("event", "velocity", "key"), frozenset({"velocity", "key"}))
    table = read_text_table(path, wanted)
    ticks = _plain_ticks(table)
    keys = _event_keys(table, ticks, span_of_key)
    velocities = _velocities(table)
    log: dict[Key, list[tuple[int, int, int]]] = {key: [] for key in span_of_key}
    for row, name in enumerate(table.words("event")):
        if name not in EVENT_BYTES:
            raise table.refuse(row, f"{name!r} is no event; known are {', '.join(EVENT_BYTES)}")
        byte, tick, key = EVENT_BYTES[name], int(ticks[row]), keys[row]
        first, last = span_of_key[key]
        if not first - EVENT_SLACK_US <= tick <= last + EVENT_SLACK_US:
            span = f"{first * 1e-6:g} to {last * 1e-6:g} s"
            raise table.refuse(row, f"an event at {tick * 1e-6:g} s, but {key.name} was recorded from {span}")
        if name.startswith("contact"):
            log[key].append((tick, CONTACT, byte))
        else:
            log[key] += [(tick, MIDI_IN, part) for part in (byte, key.note, velocities[row])]
    return {key: _events(rows) for key, rows in log.items()}


def _velocities(table: TextTable) -> list[int]:
    """Return the velocity of every row; an empty cell or no column at all means DEFAULT_VELOCITY."""
    if "velocity" not in table.places:
        return [DEFAULT_VELOCITY] * len(table)
    velocities = []
    for row, cell in enumerate(table.words("velocity")):
        try:
            value = float(cell) if cell else float(DEFAULT_VELOCITY)
        except ValueError:
            value = -1.0
        if not 0 <= value <= 127 or value != int(value):
            raise table.refuse(row, f"velocity is {cell!r}, which is no whole number from 0 to 127")
        velocities.append(int(value))
    return velocities


def _event_keys(table: TextTable, ticks: NDArray[np.int64], span_of_key: dict[Key, tuple[int, int]]) -> list[Key]:
    """Return the key of every event: named in the table, the only one, or the one being pressed at that time."""
    if "key" in table.places:
        return [_named_key(table, row, name, span_of_key) for row, name in enumerate(table.words("key"))]
    if len(span_of_key) == 1:
        return list(span_of_key) * len(table)
    found = []
    for row, tick in enumerate(ticks.tolist()):
        pressed = [key for key, (first, last) in span_of_key.items() if first <= tick <= last]
        if len(pressed) != 1:
            raise table.refuse(row, "its key cannot be told from its time; give the events a key column")
        found.append(pressed[0])
    return found


def _named_key(table: TextTable, row: int, name: str, span_of_key: dict[Key, tuple[int, int]]) -> Key:
    try:
        key = Key.from_name(name)
    except UnknownKey as fault:
        raise table.refuse(row, str(fault)) from fault
    if key not in span_of_key:
        raise table.refuse(row, f"an event of {key.name}, but there are no samples of that key")
    return key


def _events(rows: list[tuple[int, int, int]]) -> RawEvents:
    ordered = sorted(rows, key=lambda row: row[0])  # stable: the bytes of one message stay together
    tick, source, byte = zip(*ordered, strict=True) if ordered else ((), (), ())
    return RawEvents(np.array(tick, np.int64), np.array(source, np.uint8), np.array(byte, np.uint8))


def _header(path: Path, choices: ImportChoices, keys: tuple[KeyRecording, ...]) -> Header:
    periods = np.diff(keys[0].trace.tick_us)
    period_us = float(np.mean(periods))
    reference = f"values of {path.name} taken as true"
    return Header(
        run=RunInfo(
            instrument=choices.instrument or path.stem,
            started_at=datetime.fromtimestamp(path.stat().st_mtime, UTC),
            software_version=choices.software_version,
            programme="imported",
            serial=choices.serial,
            source_file=path.name,
            source_sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
        ),
        rig=RigInfo(
            model=None,
            serial_number=None,
            firmware=None,
            sample_rate_hz=1e6 / period_us if period_us else None,
        ),
        calibration=Calibration(
            force=_scale(COUNTS_PER_NEWTON, "N", reference),
            displacement=_scale(COUNTS_PER_MM, "mm", reference),
            compliance_mm_per_newton=0.0,
            force_delay_us=0,
        ),
    )


def _scale(counts_per_unit: int, unit: str, reference: str) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference=reference
    )
