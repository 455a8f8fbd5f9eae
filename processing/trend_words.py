"""How a measurand runs from bass to treble: in a sentence for people, and as plain data for JSON.

How it works: both tell the trends of `processing/statistics`, so a screen says what the report's table says. Where a
line does not fit, the places are named at which the trend surely turns: there it differs from both its ends by more
than their intervals together. Sharps are held against the naturals beside them, and only if they surely differ.
"""

from __future__ import annotations

from math import isfinite
from typing import Any

import numpy as np

from processing.display import Units, with_interval
from processing.statistics.keyboard_statistics import KeyboardStatistics, SharpsDiffer
from processing.statistics.trend import KeyboardTrend
from recordings.keys import Key


def trend_sentence(statistics: KeyboardStatistics, name: str, words: str, units: Units) -> str:
    """Return the run of the naturals in one measurand, and how sharps differ; empty if too few naturals tell it."""
    described = statistics.of(name, "natural")
    trend = None if described is None else described.trend
    if trend is None:
        return ""
    first, last = (_at(trend, place, units) for place in (0, -1))
    if trend.shape == "line":
        run = f"goes from {first} to {last}"
    else:
        turns = [f"{word} with {_at(trend, place, units)}" for place, word in turning_places(trend)]
        run = f"is no straight line: {', '.join([first, *turns, last])}"
    return f"{words}: the trend of the naturals {run}{_sharps_differ(statistics, name, units)}."


def _at(trend: KeyboardTrend, place: int, units: Units) -> str:
    value, half = float(trend.fitted[place]), float(trend.half_width[place])
    return f"{with_interval(value, half, trend.unit, units)} at {Key(trend.numbers[place]).name}"


def turning_places(trend: KeyboardTrend) -> list[tuple[int, str]]:
    """Return where a trend is surely highest or lowest between its ends, from the bass on."""
    found = [(int(np.argmax(trend.fitted)), "highest"), (int(np.argmin(trend.fitted)), "lowest")]
    return sorted((place, word) for place, word in found if _leaves_both_ends(trend, place))


def _leaves_both_ends(trend: KeyboardTrend, place: int) -> bool:
    fitted, half = trend.fitted, trend.half_width
    return all(abs(fitted[place] - fitted[end]) > np.hypot(half[place], half[end]) for end in (0, -1))


def _sharps_differ(statistics: KeyboardStatistics, name: str, units: Units) -> str:
    """Return how sharps differ from the naturals beside them, as a clause; empty if the interval holds 0."""
    found = next((one for one in statistics.sharps_differ if one.name == name), None)
    if found is None or abs(found.difference.value) <= (half := found.difference.expanded()):
        return ""
    shown = with_interval(abs(found.difference.value), half, found.unit, units)
    return f"; sharps {shown} {'more' if found.difference.value > 0.0 else 'less'} than the naturals beside them"


def trend_views(statistics: KeyboardStatistics) -> list[dict[str, Any]]:
    """Return every trend as plain data: where it is at the first and last key measured, how steep, how even."""
    return [_trend_view(one.trend) for one in statistics.measurands if one.trend is not None]


def _trend_view(trend: KeyboardTrend) -> dict[str, Any]:
    low, high = trend.scatter.interval()
    return {
        "name": trend.name,
        "unit": trend.unit,
        "colour": trend.colour,
        "count": len(trend.numbers),
        "first_key": trend.numbers[0],
        "last_key": trend.numbers[-1],
        "at_first": float(trend.fitted[0]),
        "at_first_U95": _finite(trend.half_width[0]),
        "at_last": float(trend.fitted[-1]),
        "at_last_U95": _finite(trend.half_width[-1]),
        "per_octave": trend.per_octave.value,
        "per_octave_U95": _finite(trend.per_octave.expanded()),
        "spread": trend.scatter.spread,
        "spread_95": [_finite(low), _finite(high)],
        "shape": trend.shape,
        "turns": [
            {"key": trend.numbers[place], "is": word, "value": float(trend.fitted[place])}
            for place, word in (turning_places(trend) if trend.shape == "smooth" else [])
        ],
    }


def sharps_views(statistics: KeyboardStatistics) -> list[dict[str, Any]]:
    """Return how much more sharps have than the naturals beside them, as plain data."""
    return [_sharps_view(one) for one in statistics.sharps_differ]


def _sharps_view(one: SharpsDiffer) -> dict[str, Any]:
    difference = one.difference
    return {
        "name": one.name,
        "unit": one.unit,
        "value": difference.value,
        "u": difference.u,
        "dof": _finite(difference.dof),
        "U95": _finite(difference.expanded()),
    }


def _finite(value: float) -> float | None:
    return float(value) if isfinite(value) else None
