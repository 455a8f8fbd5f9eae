"""Which lines a key draws anew: every line is classified, and the statistics hold where keys draw them."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from processing.budget.calibration_lines import CalibrationDoubt, Doubt, FitDoubt, calibration_lines
from processing.budget.lines import Budget, Distribution, Line
from processing.budget.propagation import combine
from processing.budget.sources import NOISE, OTHERWISE, SOURCES, STROKES
from processing.budget_page import OF_THE_CALIBRATION
from processing.dynamics import sources
from processing.dynamics.sources import DYNAMIC_SOURCES
from processing.keyboard import compare_keys
from processing.measure import all_missing
from processing.stages import KeyResult, Measurement
from processing.statistics.among_keys import AMONG_KEYS
from processing.statistics.correlated import Resemblance
from processing.statistics.drift import BEND, DIFFER, SITTING, WHOLE
from processing.statistics.series import Series, series_of
from processing.statistics.settings import StatisticsSettings
from processing.statistics.trend import trend_of
from recordings.keys import ALL_KEYS
from tests.builders import SETTINGS, a_header

ROOT = Path(__file__).parents[3]
MAKE_LINES = {
    "processing/budget/calibration_lines.py",
    "processing/budget/otherwise_lines.py",
    "processing/budget/sources.py",
    "processing/dynamics/sources.py",
    "processing/statistics/drift.py",
    "processing/uncertainty.py",
}
"""Their names are asked for in the next test. A new place needs its names there, and a row in AMONG_KEYS."""


def makes_lines(path: Path) -> bool:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = any(
        isinstance(node, ast.ImportFrom)
        and node.module == "processing.budget.lines"
        and any(alias.name == "Line" for alias in node.names)
        for node in ast.walk(tree)
    )
    calls = (node.func for node in ast.walk(tree) if isinstance(node, ast.Call))
    return imported and any(isinstance(called, ast.Name) and called.id == "Line" for called in calls)


def test_the_places_where_lines_are_made_are_known() -> None:
    found = {str(path.relative_to(ROOT)) for path in (ROOT / "processing").rglob("*.py") if makes_lines(path)}

    assert found == MAKE_LINES


def test_every_line_that_a_budget_can_have_is_a_keys_own_or_shared_once() -> None:
    names = [NOISE, STROKES, SITTING, BEND, WHOLE, DIFFER]
    names += [name for name, _, _ in OTHERWISE]
    names += [source.name for source in SOURCES]
    names += [source.name for source in DYNAMIC_SOURCES]
    names += [name for name, _, _ in OF_THE_CALIBRATION]

    assert sorted(row.name for row in AMONG_KEYS) == sorted(names)
    assert all(row.why and (row.shared or row.own == 1.0) for row in AMONG_KEYS)


def test_the_calibration_makes_no_line_beside_those_of_the_page() -> None:
    fit, one = FitDoubt(np.eye(3) * 1e-6, 10.0), Doubt(1e-3)
    everything = CalibrationDoubt(
        force=fit,
        displacement=fit,
        compliance_mm_per_newton=one,
        skew_s=one,
        backlash_mm=one,
        kelvin_off=2.0,
        force_by_temperature=one,
        displacement_by_temperature=one,
        force_by_lever=one,
        travel_by_lever=one,
        reversibility_newton=0.001,
    )
    lines, _ = calibration_lines(everything, lambda _: 1.0)

    assert {line.name for line in lines} == {name for name, _, _ in OF_THE_CALIBRATION}


def naturals(values: list[float], *lines: Line, name: str = "note_latency") -> Series:
    """The naturals of a keyboard, every key with these lines in its budget."""
    keys = [key for key in ALL_KEYS if key.colour == "natural"]
    results = []
    for key, value in zip(keys, values, strict=True):
        budget = Budget(measurand=name, unit="ms", value=value, lines=lines)
        u = combine(budget).u
        told = Measurement(name=name, unit="ms", value=value, u=u, dof=10.0, coverage_factor=2.2, budget=budget)
        measured = tuple(told if one.name == name else one for one in all_missing("not made here"))
        results.append(KeyResult(key, 3, measured, "none", (), None))
    series = series_of(compare_keys(a_header(), tuple(results), SETTINGS), name, "natural")
    assert series is not None
    return series


def a_line(name: str, distribution: Distribution = "t", u: float = 1.0) -> Line:
    return Line(name=name, kind="A", distribution=distribution, u=u, unit="ms", dof=8.0)


LEVEL = [4.0] * 52


@pytest.mark.parametrize(
    ("name", "own_u", "shared_u"),
    [
        (sources.TO_ZERO_SPEED, 1.0, 0.0),
        (sources.SCATTER, 1.0, 0.0),
        (sources.RINGING, 0.0, 1.0),
        (sources.BRACKET, 1.0, 1.0),
        (sources.NEXT_RATE, 0.5, 1.0),
    ],
)
def test_a_line_is_where_its_row_puts_it(name: str, own_u: float, shared_u: float) -> None:
    series = naturals(LEVEL, a_line(name))

    assert series.own_u == pytest.approx(own_u)
    assert combine(series.shared.of_mean()).u == pytest.approx(shared_u)


def test_what_lies_evenly_in_a_step_is_off_its_lower_end_by_what_the_row_says() -> None:
    """w^2 / 3 in all, w^2 / 12 about the middle."""
    place = (np.arange(100_000) + 0.5) / 100_000
    (row,) = [row for row in AMONG_KEYS if row.name == sources.NEXT_RATE]

    assert np.mean(place**2) == pytest.approx(1.0 / 3.0, rel=1e-4)
    assert np.var(place) == pytest.approx(row.own * np.mean(place**2), rel=1e-4)


def told_of(seed: int) -> tuple[bool, bool, float]:
    """Keys that scatter by 1 ms about 4 ms, each told with an error of its own of 1 ms by its line to zero speed: does
    the interval of the trend in the middle leave out the truth, does that of the unevenness, and how wide is the first.
    """
    random = np.random.default_rng((seed, 8))
    values = 4.0 + random.standard_normal(52) + random.standard_normal(52)
    series = naturals(values.tolist(), a_line(sources.TO_ZERO_SPEED))
    trend = trend_of(series, Resemblance(0.0), StatisticsSettings())
    low, high = trend.scatter.interval()
    return abs(trend.fitted[26] - 4.0) > trend.half_width[26], not low <= 1.0 <= high, trend.half_width[26]


def test_trend_and_unevenness_hold_where_every_key_errs_for_itself() -> None:
    """Taken for shared, the line made the trend's interval 2.3 ms wide on either side and the unevenness 1.4 for 1."""
    missed_trend, missed_unevenness, half_width = np.array([told_of(seed) for seed in range(120)]).T

    assert binomtest(int(missed_trend.sum()), 120, 0.05, alternative="greater").pvalue > 0.01
    assert binomtest(int(missed_unevenness.sum()), 120, 0.05).pvalue > 0.01
    assert np.mean(half_width) < 1.2
