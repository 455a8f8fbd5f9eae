"""Lines of units as a store holds them, values drawn: levels rise with the key, units and keys scatter."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import parquet

from processing.unit_store.schema import store_schema
from recordings.keys import ALL_KEYS

Array = NDArray[np.float64]
UNIT_SIGMA, KEY_SIGMA, U = 0.004, 0.008, 0.001
LEVELS = {"friction": 0.12, "up_weight": 0.25, "key_dip": 10.0}
Planted = Callable[[Array], Array]
"""Unit numbers from 0 to what is added to every key of them."""


def a_line(
    store: Path,
    units: int = 120,
    *,
    planted: dict[str, Planted] | None = None,
    reasons: dict[int, list[str]] | None = None,
    calibrations: Callable[[int], str] = lambda _: "first",
    seed: int = 1,
) -> Path:
    """Write a store of `moss-001` ... and return its folder. reasons: by unit, from 0, all of key C4."""
    random, why = np.random.default_rng(seed), reasons or {}
    keys, count = np.arange(1, 89), len(ALL_KEYS) + 1
    begun = datetime(2026, 3, 1, 8, 0)
    columns: dict[str, list[object]] = {name: [] for name in store_schema().names}
    effects = {
        name: UNIT_SIGMA * random.standard_normal(units)
        + (planted or {}).get(name, np.zeros_like)(np.arange(units * 1.0))
        for name in LEVELS
    }
    for unit in range(units):
        facts = {
            "measuring_id": f"{unit:016x}", "model": "moss", "serial": f"moss-{unit + 1:03d}", "rig": "a rig 1",
            "measured_at_utc": begun + timedelta(minutes=4 * unit), "added_at_utc": begun + timedelta(minutes=4 * unit),
            "operator": "a hand", "calibration": "calibrated", "calibration_id": calibrations(unit),
            "software_version": "0", "recording_sha256": None, "outcome": "fail" if unit in why else "pass",
        }  # fmt: skip
        for name, value in facts.items():
            columns[name] += [value] * count
        columns["number"] += [None, *keys.tolist()]
        columns["key"] += [None, *(key.name for key in ALL_KEYS)]
        columns["colour"] += [None, *(key.colour for key in ALL_KEYS)]
        columns["reasons"] += [why.get(unit, []) if number == 40 else [] for number in (0, *keys.tolist())]
        for name, level in LEVELS.items():
            values = level * (1.0 + 0.001 * keys) + effects[name][unit] + KEY_SIGMA * random.standard_normal(88)
            columns[name] += [None, *values.tolist()]
            columns[f"{name}_u"] += [None, *([U] * 88)]
    whole = {name: values or [None] * (units * count) for name, values in columns.items()}
    folder = store / "model=moss"
    folder.mkdir(parents=True)
    parquet.write_table(pa.table(whole, schema=store_schema()), folder / "packed_0.parquet")
    return store


def step(at: int, size: float) -> Planted:
    return lambda unit: np.where(unit >= at, size, 0.0)


def drift(at: int, size_a_unit: float) -> Planted:
    return lambda unit: size_a_unit * np.clip(unit - at + 1.0, 0.0, None)


def batch(first: int, last: int, size: float) -> Planted:
    return lambda unit: np.where((unit >= first) & (unit <= last), size, 0.0)
