"""All statistics of one keyboard, on one page: per measurand and colour, with the keys that stand out.

How it works: measurands that no key has are passed over. A key stands out if the generalised extreme studentised
deviate names it among its colour, seen from the running median of its neighbours; alpha is shared out over all tests
of the keyboard, so that in 95 of 100 keyboards of good keys nobody is named. The modified z gives a second opinion.
Whether such a difference matters to a hand is another question: `processing/keyboard.py` asks that too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.budget.propagation import combine
from processing.features.table import FEATURES
from processing.keyboard import COLOURS, COMPARED, KeyboardResult, typical_values
from processing.stages import FloatArray, read_only
from processing.statistics.correlated import Estimate, Resemblance, resemblance_of
from processing.statistics.neighbours import Step, sharps_less_naturals, steps_of
from processing.statistics.outliers import MEDIAN_THINS, generalised_esd, modified_z
from processing.statistics.series import Series, series_of
from processing.statistics.settings import StatisticsSettings
from processing.statistics.trend import KeyboardTrend, most_outliers, trend_of

MATTERS = {compared.name: compared.matters for compared in COMPARED}


@dataclass(frozen=True, slots=True)
class StandingOut:
    """A key that stands out in one measurand."""

    number: int
    value: float
    usual: float
    """What its neighbours suggest."""
    deviate: float
    critical: float
    modified_z: float
    second_opinion: bool
    """Whether the modified z agrees."""
    matters: bool | None
    """Whether it is more than what matters; None: nobody has said what matters in this measurand."""


@dataclass(frozen=True, slots=True, eq=False)
class MeasurandStatistics:
    """One measurand over one colour. Arrays (n,) in `unit`, a value a key."""

    name: str
    unit: str
    colour: str
    numbers: tuple[int, ...]
    values: FloatArray
    own_u: FloatArray
    shared_u: float
    median: float
    fading: float
    """Correlation of next neighbours."""
    trend: KeyboardTrend | None
    """None: too few keys."""
    steps: tuple[Step, ...]
    standing_out: tuple[StandingOut, ...]

    def __post_init__(self) -> None:
        read_only(self.values, self.own_u)


@dataclass(frozen=True, slots=True)
class SharpsDiffer:
    """How much more sharps have than the naturals beside them."""

    name: str
    unit: str
    difference: Estimate


@dataclass(frozen=True, slots=True, eq=False)
class KeyboardStatistics:
    """One keyboard."""

    instrument: str
    measurands: tuple[MeasurandStatistics, ...]
    sharps_differ: tuple[SharpsDiffer, ...]
    alpha_of_one: float
    """With which each measurand and colour was searched for keys that stand out."""

    def of(self, name: str, colour: str) -> MeasurandStatistics | None:
        """Return one measurand of one colour, None if it is known on no key."""
        return next((one for one in self.measurands if (one.name, one.colour) == (name, colour)), None)


def describe_keyboard(result: KeyboardResult, settings: StatisticsSettings | None = None) -> KeyboardStatistics:
    """Return the statistics of one recording's results."""
    chosen = settings or StatisticsSettings()
    found = {
        (feature.name, colour): series
        for feature in FEATURES
        for colour in COLOURS
        if (series := series_of(result, feature.name, colour)) is not None
    }
    searched = sum(len(series.numbers) >= chosen.fewest_keys for series in found.values())
    alpha = chosen.stand_out_alpha / max(1, searched)
    resemblances = {
        name: resemblance_of([(s.places, s.values) for (n, _), s in found.items() if n == name]) for name, _ in found
    }
    measurands = tuple(_describe(series, resemblances[name], alpha, chosen) for (name, _), series in found.items())
    usual = {(one.name, one.colour): _usual(found[one.name, one.colour], one) for one in measurands}
    return KeyboardStatistics(
        result.header.run.instrument,
        measurands,
        tuple(
            SharpsDiffer(name, series.unit, difference)
            for (name, colour), series in usual.items()
            if colour == "natural" and (name, "sharp") in usual
            if (difference := sharps_less_naturals(series, usual[name, "sharp"], resemblances[name])) is not None
        ),
        alpha,
    )


def _usual(series: Series, described: MeasurandStatistics) -> Series:
    """Return a series without the keys that stand out."""
    odd = {one.number for one in described.standing_out}
    return series.only(frozenset(series.numbers) - odd)


def _describe(
    series: Series, resemblance: Resemblance, alpha: float, settings: StatisticsSettings
) -> MeasurandStatistics:
    enough = len(series.numbers) >= settings.fewest_keys
    return MeasurandStatistics(
        name=series.name,
        unit=series.unit,
        colour=series.colour,
        numbers=series.numbers,
        values=series.values,
        own_u=series.own_u,
        shared_u=combine(series.shared.of_mean()).u,
        median=float(np.median(series.values)),
        fading=resemblance.fading,
        trend=trend_of(series, resemblance, settings) if enough else None,
        steps=steps_of(series),
        standing_out=standing_out(series, alpha, settings) if enough else (),
    )


def standing_out(series: Series, alpha: float, settings: StatisticsSettings) -> tuple[StandingOut, ...]:
    """Return the keys of a series that stand out, furthest first. alpha: of this search alone."""
    usual = typical_values(series.at(series.numbers), series.values, settings.narrowest_window)
    off = series.values - usual
    most = most_outliers(len(off), settings)
    found = generalised_esd(off, most=most, alpha=alpha, thinned=MEDIAN_THINS)
    second, matters = modified_z(off), MATTERS.get(series.name)
    return tuple(
        StandingOut(
            number=series.numbers[one.index],
            value=float(series.values[one.index]),
            usual=float(usual[one.index]),
            deviate=one.deviate,
            critical=one.critical,
            modified_z=float(second[one.index]),
            second_opinion=bool(abs(second[one.index]) > settings.modified_z_limit),
            matters=None if matters is None else bool(abs(off[one.index]) > matters),
        )
        for one in found.candidates[: found.count]
    )
