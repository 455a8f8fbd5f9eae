"""Keyboards made of numbers: results without a recording behind them, from the truths of a scenario or level ones."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from processing.budget.lines import Budget, Line
from processing.budget.sources import NOISE
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult, compare_keys
from processing.stages import KeyResult, Measurement
from recordings.keys import ALL_KEYS, Key
from rig.virtual.scenario import KeySpec, keyboard_of, load_scenario
from rig.virtual.truths import true_curve, true_features
from tests.builders import SETTINGS, a_curve, a_header

NOISE_U = {"N": 0.0005, "mm": 0.003, "mJ": 0.004, "N/mm": 0.005, "1": 0.0005}


def a_measurement(name: str, unit: str, value: float | None, *, u: float = 0.001) -> Measurement:
    if value is None:
        return Measurement(name=name, unit=unit, value=None, reason="not made here")
    line = Line(name=NOISE, kind="A", distribution="t", u=u, unit=unit, dof=10.0)
    budget = Budget(measurand=name, unit=unit, value=value, lines=(line,))
    return Measurement(name=name, unit=unit, value=value, u=u, dof=10.0, coverage_factor=2.2, budget=budget)


def a_key(key: Key, values: dict[str, float | None], *, letoff: str = "found") -> KeyResult:
    measurements = tuple(a_measurement(f.name, f.unit, values.get(f.name)) for f in FEATURES)
    way = np.arange(0.0, 9.0, 0.05)
    level = values.get("down_weight") or 0.5
    curve = a_curve(way, np.full(len(way), level), np.full(len(way), level - 0.2))
    return KeyResult(key, 3, measurements, letoff, (), curve, letoff_limit_newton=0.01)  # type: ignore[arg-type]


def a_keyboard(
    *, seed: int, keys: tuple[Key, ...] = ALL_KEYS, instrument: str = "a test", **more: float
) -> KeyboardResult:
    """Keys whose weights fall gently and scatter by 5 mN and 0.05 mm; `more` is added to a measurand on all keys."""
    random = np.random.default_rng(seed)
    results = []
    for key in keys:
        level = {"down_weight": 0.52 - 0.0008 * key.number, "key_dip": 10.0, "friction": 0.11}
        scatter = {"down_weight": 0.005, "key_dip": 0.05, "friction": 0.004}
        values = {name: v + scatter[name] * random.standard_normal() + more.get(name, 0.0) for name, v in level.items()}
        results.append(a_key(key, values))
    return compare_keys(a_header(instrument), tuple(results), SETTINGS)


@cache
def the_scenario(name: str, seed: int = 1) -> KeyboardResult:
    """All 88 keys of a demo keyboard as they truly are, but for a little noise of the measurement."""
    random = np.random.default_rng(seed)
    results = tuple(_as_it_is(key, random) for key in keyboard_of(load_scenario(name)))
    return compare_keys(a_header(name), results, SETTINGS)


def _as_it_is(spec: KeySpec, random: np.random.Generator) -> KeyResult:
    truths, curve = true_features(spec), true_curve(spec)
    measured = []
    for feature in FEATURES:
        truth, u = truths.get(feature.name), NOISE_U.get(feature.unit, 0.001)
        value = None if truth is None else truth + u * random.standard_normal()
        measured.append(a_measurement(feature.name, feature.unit, value, u=u))
    way = np.arange(0.0, float(curve.way_mm[-1]), 0.02)
    down, up = (np.interp(way, curve.way_mm, side) for side in (curve.down_newton, curve.up_newton))
    letoff = "none" if truths.get("letoff_peak_position") is None else "found"
    made = a_curve(way, down, up)
    return KeyResult(Key(spec.number), 3, tuple(measured), letoff, (), made, letoff_limit_newton=0.01)  # type: ignore[arg-type]


def renamed(result: KeyboardResult, instrument: str) -> KeyboardResult:
    header = result.header
    return replace(result, header=replace(header, run=replace(header.run, instrument=instrument)))
