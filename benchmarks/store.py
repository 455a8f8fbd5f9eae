"""`python -m benchmarks.store`: what questions to a store of a million rows cost, beside reading it whole.

How it works: a store as packing leaves it is written (a row a key, values drawn), then each question is asked of it as
a command would, anew each time; the peer is pyarrow reading every file of it whole. Single runs on a shared machine:
differences under 15 % are noise.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import parquet

from processing.features.table import FEATURES
from processing.unit_store import UnitStore
from processing.unit_store.schema import store_schema
from recordings.keys import ALL_KEYS

ROWS, UNITS_A_FILE = 1_000_000, 1200
ROWS_A_UNIT = len(ALL_KEYS) + 1
AIM_MS = 1000.0

QUESTIONS: tuple[tuple[str, Callable[[UnitStore], object]], ...] = (
    ("mean and spread of friction per key", lambda store: store.query(
        "select number, avg(friction), stddev_samp(friction) from rows where number is not null group by number")),
    ("quantiles of down weight per key", lambda store: store.query(
        "select number, quantile_cont(down_weight, [0.05, 0.5, 0.95]) from rows where number is not null "
        "group by number")),
    ("everything of one serial number", lambda store: store.query("select * from rows where serial = 'moss-04000'")),
    ("latest measuring of every serial number", lambda store: store.units()),
    ("friction of every key of the latest measurings", lambda store: store.query(
        "select measuring_id, number, friction, friction_u from rows join measurings using (measuring_id) "
        "where latest and number is not null")),
    ("units by outcome and day", lambda store: store.query(
        "select outcome, date_trunc('day', measured_at_utc) as day, count(*) from measurings where latest "
        "group by outcome, day")),
)  # fmt: skip


def write_store(store: Path, rows: int) -> None:
    """Write a store of units drawn by chance; every tenth is measured twice."""
    folder = store / "model=moss"
    folder.mkdir(parents=True)
    random, units = np.random.default_rng(1), rows // ROWS_A_UNIT
    for number, begun in enumerate(range(0, units, UNITS_A_FILE)):
        some = range(begun, min(begun + UNITS_A_FILE, units))
        parquet.write_table(
            _some_units(random, some),
            folder / f"packed_{number:016x}.parquet",
            compression="zstd",
            write_page_checksum=True,
        )


def _some_units(random: np.random.Generator, units: range) -> pa.Table:
    rows, count = len(units) * ROWS_A_UNIT, len(units)
    begun = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
    of_unit = {
        "measuring_id": [f"{unit:016x}" for unit in units],
        "model": ["moss"] * count,
        "serial": [f"moss-{unit - unit % 10 // 9:05d}" for unit in units],
        "measured_at_utc": [begun + timedelta(minutes=5 * unit) for unit in units],
        "added_at_utc": [begun + timedelta(minutes=5 * unit + 1) for unit in units],
        "outcome": ["pass" if unit % 17 else "fail" for unit in units],
    }
    where = np.repeat(np.arange(count), ROWS_A_UNIT)
    whole = {name: pa.array(values).take(pa.array(where)) for name, values in of_unit.items()}
    keys = (None, *ALL_KEYS)
    whole["number"] = pa.array([key and key.number for key in keys] * count, pa.int8())
    whole["key"] = pa.array([key and key.name for key in keys] * count)
    whole["colour"] = pa.array([key and key.colour for key in keys] * count)
    whole["reasons"] = pa.array([[]] * rows, pa.list_(pa.string()))
    of_a_key = np.tile(np.array([key is not None for key in keys]), count)
    for feature in FEATURES:
        for name in (feature.name, f"{feature.name}_u"):
            whole[name] = pa.array(random.random(rows), mask=~of_a_key)
    schema = store_schema()
    columns = [whole[name].cast(kind) if name in whole else pa.nulls(rows, kind)
               for name, kind in zip(schema.names, schema.types, strict=True)]  # fmt: skip
    return pa.table(columns, schema=schema)


def milliseconds(work: Callable[[], object]) -> float:
    """Return how long a piece of work takes: the best of three."""
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return 1e3 * min(times)


def lines(rows: int = ROWS) -> Iterable[str]:
    """Yield what was measured, a line each."""
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "store"
        write_store(store, rows)
        files = sorted(store.rglob("*.parquet"))
        size = sum(file.stat().st_size for file in files) / 1e6
        yield f"store of {rows} rows ({rows // ROWS_A_UNIT} units, {len(files)} files, {size:.0f} MB):"
        peer = milliseconds(lambda: [parquet.ParquetFile(file).read() for file in files])
        yield f"  {'read it whole with pyarrow':<50} {peer:6.0f} ms"
        pages = milliseconds(lambda: UnitStore(store, thorough=True).strangers)
        yield f"  {'hold every page against its checksum':<50} {pages:6.0f} ms, {pages / peer:.2f} x reading it whole"
        for words, ask in QUESTIONS:
            cold = milliseconds(lambda ask=ask: ask(UnitStore(store)))  # type: ignore[misc]
            opened = UnitStore(store)
            ask(opened)
            warm = milliseconds(lambda ask=ask, opened=opened: ask(opened))  # type: ignore[misc]
            verdict = "aim met" if cold <= AIM_MS else f"aim of {AIM_MS:.0f} ms missed"
            yield (
                f"  {words:<50} {cold:6.0f} ms, store open {warm:6.0f} ms, "
                f"{cold / peer:.2f} x reading it whole; {verdict}"
            )


if __name__ == "__main__":
    for line in lines(*map(int, sys.argv[1:2])):
        print(line, flush=True)
