"""Units made by hand: every number is what the test says, with u = 2 mN or 20 um and 50 degrees of freedom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult, compare_keys
from processing.limits.types import Expected, Limits, Line, ValueLimit
from processing.settings import Settings
from processing.stages import Finding, KeyResult, LetOffKind, Measurement
from recordings.keys import ALL_KEYS, Key
from recordings.types import Header
from tests.builders import WHOLE_RECORD, a_curve, a_header

U = {"N": 0.002, "mm": 0.02}
CURVE = a_curve(np.linspace(0.0, 10.0, 11), np.full(11, 0.5))


def a_measurement(
    name: str, value: float | None, *, flags: tuple[str, ...] = (), dof: float | None = 50.0
) -> Measurement:
    unit = next(feature.unit for feature in FEATURES if feature.name == name)
    if value is None:
        return Measurement(name=name, unit=unit, value=None, reason="nobody measured it")
    return Measurement(
        name=name, unit=unit, value=value, u=U.get(unit, 0.01), dof=dof, coverage_factor=2.0, flags=flags
    )


def a_key(
    number: int = 40,
    *,
    strokes: int = 3,
    letoff: LetOffKind = "found",
    findings: tuple[Finding, ...] = (),
    flags: tuple[str, ...] = (),
    **values: float,
) -> KeyResult:
    """Return a key; every measurand that is not named is missing. flags: of all its numbers."""
    told = {"down_weight": 0.5} | values
    numbers = tuple(a_measurement(one.name, told.get(one.name), flags=flags) for one in FEATURES)
    return KeyResult(Key(number), strokes, numbers, letoff, findings, CURVE)


def a_finding(code: str, *, odd: bool = True) -> Finding:
    return Finding(code, "something of {}", ((0.02, "N"),), "look at it", odd)


def calibrated_header() -> Header:
    header = a_header("moss")
    return replace(header, calibration=replace(header.calibration, record=WHOLE_RECORD))


def a_unit(*keys: KeyResult, header: Header | None = None, settings: Settings | None = None) -> KeyboardResult:
    return compare_keys(header or calibrated_header(), keys or (a_key(),), settings or Settings())


def a_limit(
    measurand: str = "down_weight",
    *,
    lower: float | None = 0.45,
    upper: float | None = 0.55,
    keys: Iterable[Key] = ALL_KEYS,
) -> ValueLimit:
    unit = next(feature.unit for feature in FEATURES if feature.name == measurand)
    ends = [None if end is None else Line(end, end) for end in (lower, upper)]
    return ValueLimit(measurand=measurand, unit=unit, lower=ends[0], upper=ends[1], keys=frozenset(keys))


def some_limits(*values: ValueLimit, keys: Iterable[int] = (40,), **others: object) -> Limits:
    """Return limits for some keys, those of a down weight between 0.45 and 0.55 N unless told otherwise."""
    expected = Expected(keys=tuple(Key(number) for number in keys))
    plain = Limits(name="limits of a test", expected=expected, values=values or (a_limit(),))
    return replace(plain, **others)  # type: ignore[arg-type]
