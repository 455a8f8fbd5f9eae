"""Limits of one measurand and colour, from its values on the keys of some good units.

How it works: the slope from bass to treble is the median of all slopes between two keys of one unit, so neither an odd
key nor a unit that lies off as a whole tilts it. What is left of each value is its unit's own part and the key's own
part (`two_levels.py`); limits lie on either side of the mean line, as far off as it takes to hold `coverage` of all
keys of all such units with `confidence`. What a model's keys have in common beyond the line (a hump in the middle)
counts as scatter of the keys. Values that stand out of their unit are no examples; they are named. Keys scatter by no
less than the measurement of a key does: where they seem to, that is chance, or an error that all had alike.
The slope is taken for known: with two units its own uncertainty adds less than 2 % to what is wanted at A0 and C8.
Source: Sen's slope over several samples: Hirsch, Slack & Smith, Water Resour. Res. 18:107, 1982 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from processing.budget.propagation import combine
from processing.limits.learned import Ends, LearnSettings, Proposal
from processing.limits.tolerance import two_sided_factor
from processing.limits.two_levels import TwoLevels, two_levels
from processing.stages import FloatArray
from processing.statistics.outliers import generalised_esd
from processing.statistics.series import Series
from processing.statistics.settings import StatisticsSettings
from processing.statistics.trend import lack_of_fit
from recordings.keys import KEY_COUNT, Key

MIDDLE = (1.0 + KEY_COUNT) / 2.0
MOST_OUT = 0.05
"""Share of the values that may stand out: in good units few do, and of many units each step of the search is dear."""
SURELY_IN_US = 2.0
"""A value stands out only if its own uncertainty does not reach back to its unit."""


def proposed(series: dict[str, Series], settings: LearnSettings) -> Proposal | None:
    """Return limits from one measurand and colour of some units; None if no unit has any, or all values are alike."""
    if not series:
        return None
    kept, stood_out = _without_outliers(series)
    slope = _slope(kept.values())
    own_variance = float(np.mean(np.concatenate([one.own_u**2 for one in kept.values()])))
    told = two_levels(tuple(_level(one, slope) for one in kept.values()), spent=1.0).at_least(own_variance)
    if told.within == 0.0:
        return None
    half_width = _half_width(told, settings)
    lower, upper = (_line(told.mean + side * half_width, slope) for side in (-1.0, 1.0))
    first = next(iter(kept.values()))
    smallest_value = min(float(one.values.min()) for one in kept.values())
    return Proposal(
        measurand=first.name,
        unit=first.unit,
        colour=first.colour,
        lower=None if min(lower) <= 0.0 < smallest_value else lower,
        upper=upper,
        told=told,
        half_width=half_width,
        units_wanted=_units_wanted(told, settings),
        off_unit=_off_unit(kept, slope),
        curved=told.keys_variance > own_variance and _is_curved(kept, slope),
        own_u=float(np.sqrt(own_variance)),
        shared_u=float(np.mean([combine(one.shared.of_mean()).u for one in kept.values()])),
        stood_out=stood_out,
    )


def _half_width(told: TwoLevels, settings: LearnSettings) -> float:
    if told.units > 1:
        return told.half_width(settings.coverage, settings.confidence)
    return told.within * two_sided_factor(told.keys, settings.coverage, settings.confidence, dof=told.keys_dof)


def _units_wanted(told: TwoLevels, settings: LearnSettings) -> int | None:
    if told.units == 1:
        return None
    return told.units_for(settings.coverage, settings.confidence, excess=settings.excess)


def _line(at_middle: float, slope: float) -> Ends:
    reach = slope * (MIDDLE - 1.0)
    return at_middle - reach, at_middle + reach


def _slope(series: Iterable[Series]) -> float:
    """Return the median of all slopes between two keys of one unit, a key."""
    slopes = []
    for one in series:
        numbers = one.at(one.numbers)
        first, second = np.triu_indices(len(numbers), 1)
        slopes.append((one.values[second] - one.values[first]) / (numbers[second] - numbers[first]))
    return float(np.median(np.concatenate(slopes)))


def _level(series: Series, slope: float) -> FloatArray:
    """Return the values with the slope taken out, as they would be in the middle of the keyboard."""
    return np.asarray(series.values - slope * (series.at(series.numbers) - MIDDLE))


def _without_outliers(series: dict[str, Series]) -> tuple[dict[str, Series], tuple[tuple[str, Key], ...]]:
    """Return the units without values that stand out of their own unit, and which those were.

    A unit of which more stand out than may is left out of this measurand altogether.
    """
    chosen = StatisticsSettings()
    slope = _slope(series.values())
    levels = [_level(one, slope) for one in series.values()]
    pooled = np.concatenate([level - np.median(level) for level in levels])
    found = generalised_esd(pooled, most=max(1, int(MOST_OUT * len(pooled))), alpha=chosen.clean_alpha).indices
    places = [(label, number) for label, one in series.items() for number in one.numbers]
    sure = np.abs(pooled) > SURELY_IN_US * np.concatenate([one.own_u for one in series.values()])
    out = {places[index] for index in found if sure[index]}
    left = {
        label: one.only(frozenset(number for number in one.numbers if (label, number) not in out))
        for label, one in series.items()
    }
    usual = 1.0 - chosen.stand_out_share
    kept = {label: one for label, one in left.items() if len(one.numbers) >= usual * len(series[label].numbers)}
    return kept, tuple((label, Key(number)) for label, number in sorted(out))


def _off_unit(series: dict[str, Series], slope: float) -> str | None:
    """Return the unit that lies off the others as a whole, more than chance would have it; None: none does."""
    means = np.array([float(_level(one, slope).mean()) for one in series.values()])
    found = generalised_esd(means, most=1, alpha=StatisticsSettings().clean_alpha).indices
    return list(series)[found[0]] if found else None


def _is_curved(series: dict[str, Series], slope: float) -> bool:
    """Return whether the units' common course along the keyboard is no line."""
    chosen = StatisticsSettings()
    beside: dict[int, list[float]] = {}
    for one in series.values():
        level = _level(one, slope)
        for number, value in zip(one.numbers, (level - level.mean()).tolist(), strict=True):
            beside.setdefault(number, []).append(value)
    numbers = tuple(sorted(beside))
    zeros = np.zeros(len(numbers))
    common = replace(
        next(iter(series.values())),
        numbers=numbers,
        values=np.array([np.mean(beside[number]) for number in numbers]),
        own_u=zeros,
        own_dof=zeros.copy(),
    )
    return lack_of_fit(common, chosen) < chosen.curved_alpha
