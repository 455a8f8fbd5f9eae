"""The table of all keys: a row a key, the numbers people compare; long heads for pages, short ones for screens."""

from __future__ import annotations

from dataclasses import dataclass

from processing.calibration_status import marked
from processing.display import Units, rounded
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult
from processing.stages import KeyResult
from processing.verdicts import note_order

SHORT_HEADS = {
    "down_weight": "down",
    "up_weight": "up",
    "friction": "friction",
    "key_dip": "dip",
    "letoff_peak_position": "notch",
    "letoff_drop": "drop",
    "trigger_position": "note on",
    "release_height": "note off",
}
"""The columns in their order; `note off` is above the dip."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text: heads, then rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def key_table(result: KeyboardResult, units: Units) -> Table:
    """Return one row per key, in the units shown; heads are whole captions."""
    units = marked(units, result.header)
    features = {feature.name: feature for feature in FEATURES}
    heads = (f"{features[name].caption} ({units.of(features[name].unit)})" for name in SHORT_HEADS)
    rows = tuple(
        (*row[:-1], note_order(key) or "-", row[-1]) for row, key in zip(_rows(result, units), result.keys, strict=True)
    )
    return Table(("Key", "Strokes", *heads, "Note and notch", "Remark"), rows)


def short_key_table(result: KeyboardResult, units: Units) -> tuple[list[str], tuple[tuple[str, ...], ...]]:
    """Return heads and rows for a screen: short lines a head: what, its unit, its mark if it is not calibrated."""
    units = marked(units, result.header)
    features = {feature.name: feature for feature in FEATURES}
    shown = {short: units.of(features[name].unit) for name, short in SHORT_HEADS.items()}
    heads = ["\n".join([short, *unit.split()]) for short, unit in shown.items()]
    return ["key", "strokes", *heads, "remark"], _rows(result, units)


def _rows(result: KeyboardResult, units: Units) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (key.key.name, str(key.strokes), *(rounded(key[name], units) for name in SHORT_HEADS), _remark(key, result))
        for key in result.keys
    )


def _remark(key: KeyResult, result: KeyboardResult) -> str:
    if any(odd.result.key == key.key for odd in result.odd_keys):
        return "stands out"
    return "see recording" if key.findings else ""
