"""Holds results against what the virtual rig knows about its own keys: errors per measurand, faults found or missed."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult
from processing.stages import KeyResult


@dataclass(frozen=True, slots=True)
class ErrorRow:
    """How one measurand came out over all keys, in its own unit."""

    name: str
    unit: str
    count: int
    bias: float
    median: float
    """Of the absolute errors."""
    percentile_95: float
    covered: float
    """Share of keys whose truth lies inside the stated 95 % interval."""
    missing: int
    """Keys that have it, but no value was given."""
    invented: int
    """Keys that do not have it, but a value was given."""


@dataclass(frozen=True, slots=True)
class TruthCheck:
    """The whole comparison."""

    rows: tuple[ErrorRow, ...]
    planted: dict[str, str]
    """Faulty keys and what is wrong with them."""
    named: tuple[str, ...]
    """Keys that the results say stand out."""

    @property
    def overlooked(self) -> list[str]:
        """Faulty keys that were not named."""
        return [key for key in self.planted if key not in self.named]

    @property
    def wrongly_named(self) -> list[str]:
        """Good keys that were named."""
        return [key for key in self.named if key not in self.planted]


def check_against(truths: Path, result: KeyboardResult) -> TruthCheck:
    """Return the comparison of a recording's results with the truths that its virtual rig wrote."""
    told = {entry["number"]: entry for entry in json.loads(truths.read_text(encoding="utf-8"))["keys"]}
    named = tuple(odd.result.key.name for odd in result.odd_keys)
    planted = {key.key.name: fault for key in result.keys if (fault := told[key.key.number]["fault"])}
    rows = [_row(feature.name, feature.unit, result.keys, told) for feature in FEATURES]
    return TruthCheck(tuple(row for row in rows if row.count), planted, named)


def _row(name: str, unit: str, keys: tuple[KeyResult, ...], told: dict[int, Any]) -> ErrorRow:
    errors, covered, missing, invented = [], 0, 0, 0
    for key in keys:
        truth, value = told[key.key.number]["features"].get(name), key[name].value
        missing += truth is not None and value is None
        invented += truth is None and value is not None
        if truth is not None and value is not None:
            errors.append(value - truth)
            covered += abs(value - truth) <= (key[name].expanded or 0.0)
    if not errors:
        return ErrorRow(name, unit, 0, 0.0, 0.0, 0.0, 0.0, missing, invented)
    sizes, count = np.abs(errors), len(errors)
    bias, median, high = float(np.mean(errors)), float(np.median(sizes)), float(np.percentile(sizes, 95))
    return ErrorRow(name, unit, count, bias, median, high, covered / count, missing, invented)
