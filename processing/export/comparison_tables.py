"""Statistics and comparisons as tables, in N, mm, mJ; the unit of a row stands in its column `unit`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from processing.comparison.types import Comparison
from processing.statistics.correlated import Estimate
from processing.statistics.keyboard_statistics import KeyboardStatistics, MeasurandStatistics
from recordings.keys import Key

if TYPE_CHECKING:
    import pandas as pd


def statistics_table(statistics: KeyboardStatistics) -> pd.DataFrame:
    """Return one row a measurand and colour: median, trend, evenness (without the rig's own part), who stands out.

    U95 of the trend's values and slope beside them; empty where too few keys were measured.
    """
    import pandas as pd

    return pd.DataFrame([_statistics_row(one) for one in statistics.measurands])


def _statistics_row(one: MeasurandStatistics) -> dict[str, object]:
    trend = one.trend
    return {
        "measurand": one.name,
        "unit": one.unit,
        "colour": one.colour,
        "keys": len(one.numbers),
        "median": one.median,
        "trend": "" if trend is None else trend.shape,
        **_estimate("at_A0", None if trend is None else trend.at_a0),
        **_estimate("at_C8", None if trend is None else trend.at_c8),
        **_estimate("per_octave", None if trend is None else trend.per_octave),
        "evenness": np.nan if trend is None else trend.scatter.spread,
        "stands_out": " ".join(Key(odd.number).name for odd in one.standing_out),
    }


def _estimate(name: str, estimate: Estimate | None) -> dict[str, float]:
    if estimate is None:
        return {name: np.nan, f"{name}_U95": np.nan}
    return {name: estimate.value, f"{name}_U95": estimate.expanded()}


def differences_table(comparison: Comparison) -> pd.DataFrame:
    """Return one row a pair, measurand, colour and region: both means, second less first, what to make of it."""
    import pandas as pd

    rows = [
        {
            "first": pair.first,
            "second": pair.second,
            "measurand": one.name,
            "unit": one.unit,
            "colour": one.colour,
            "region": one.region.name,
            "keys": one.keys,
            "mean_first": one.first,
            "mean_second": one.second,
            "difference": one.mean.estimate.value,
            "u": one.mean.estimate.u,
            "U95": one.mean.estimate.expanded(),
            "p_family": one.p_family,
            "verdict": one.verdict,
            "a_hand_guide": "" if one.noticed is None else one.noticed.guess,
        }
        for pair in comparison.pairs
        for one in pair.differences
    ]
    return pd.DataFrame(rows)
