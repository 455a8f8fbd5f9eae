"""Pairs made of numbers, for what is said of them: differences in gf with their 95 % half-widths."""

from __future__ import annotations

import numpy as np

from processing.comparison.curves import CurveBand
from processing.comparison.noticed import Guess, Noticed
from processing.comparison.paired import MeanDifference
from processing.comparison.regions import REGIONS, spoken_of
from processing.comparison.types import Difference, Evenness, PairComparison, Verdict
from processing.display import NEWTON_PER_GF
from processing.statistics.correlated import Estimate
from processing.statistics.scatter import SpreadRatio
from recordings.keys import ALL_KEYS, Key, parse_keys

MANY = 1e6
"""Degrees of freedom: the half-width is then 1.96 u."""
UNITS = {"key_dip": "mm", "letoff_work": "mJ", "letoff_slope": "N/mm"}


def a_difference(
    value: float,
    half: float = 0.40,
    *,
    name: str = "down_weight",
    colour: str = "natural",
    region: str = "whole",
    keys: str = "all",
    verdict: Verdict = "different",
    guess: Guess | None = None,
    first: float = 50.0,
    margin: float | None = None,
    within: bool = False,
) -> Difference:
    """Forces in gf, as the sentences have them; lengths in mm, work in mJ."""
    unit = UNITS.get(name, "N")
    scale = NEWTON_PER_GF if unit.startswith("N") else 1.0
    numbers = [key.number for key in parse_keys(keys) if key.colour == colour]
    part = next(one for one in REGIONS if one.name == region)
    return Difference(
        name=name,
        unit=unit,
        colour=colour,
        region=spoken_of(part, numbers),
        keys=len(numbers),
        first=scale * first,
        second=scale * (first + value),
        mean=MeanDifference(Estimate(scale * value, scale * half / 1.959964, MANY), 0.0, "scatter of the keys"),
        p_family=0.001 if verdict == "different" else 0.2,
        verdict=verdict,
        margin=None if margin is None else scale * margin,
        p_alike=None,
        noticed=None if guess is None else Noticed(guess, 0.03, 0.05),
        within_margin=within,
    )


def an_evenness(ratio: float, low: float, high: float, *, first: float = 0.003, second: float = 0.001) -> Evenness:
    """Of the dip of the naturals, in mm."""
    told = SpreadRatio(ratio, low, high, 0.0001)
    return Evenness("key_dip", "mm", "natural", first, second, told, 0.01, different=True)


def a_band(*, region: str = "bass", value: float = 0.02, half: float = 0.01) -> CurveBand:
    """Of the naturals on the way down, in N: it leaves out 0 everywhere on 2 mm."""
    way = np.arange(0.0, 2.0, 0.05)
    level = np.ones(len(way))
    return CurveBand(
        "natural", region, "down", 12, way, 0.5 * level, (0.5 + value) * level, value * level, half / 3.0 * level,
        half * level, 3.0, ((0.0, 1.95),),
    )  # fmt: skip


def a_pair(
    *differences: Difference,
    evenness: tuple[Evenness, ...] = (),
    bands: tuple[CurveBand, ...] = (),
    keys: tuple[Key, ...] = ALL_KEYS,
) -> PairComparison:
    """Of fern and moss."""
    numbers = tuple(key.number for key in keys)
    return PairComparison("fern", "moss", False, numbers, (), differences, evenness, (), bands, ())
