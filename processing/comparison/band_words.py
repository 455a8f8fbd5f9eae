"""Where in the travel two keyboards differ, in sentences.

How it works: they surely differ where a band leaves out 0, for the bands of all parts, ways and pairs that are spoken
of hold together (`pair_curves.py`).
"""

from __future__ import annotations

import numpy as np

from processing.comparison.amounts import plus_minus
from processing.comparison.curves import FEWEST_CURVES, CurveBand
from processing.comparison.regions import PARTS, REGIONS, WHOLE, Region, spoken_of
from processing.comparison.types import PairComparison
from processing.display import Units, count_of, with_unit
from processing.keyboard import COLOURS
from recordings.keys import Key

DOING = {"down": "Pressing", "up": "Letting up"}
SHORTEST_MM = 0.2
"""Stretches that are shorter are not spoken of: less than the smoothing is wide."""
STRETCHES_NAMED = 4


def band_sentences(pair: PairComparison, units: Units) -> list[str]:
    """Return for every part of the keyboard and branch where the band of the naturals leaves out 0; sharps if alone.

    Where no part has a band, the whole speaks; and of parts without one it is said why.
    """
    have = {band.region for band in pair.bands}
    regions = [region for region in PARTS if region.name in have] or [WHOLE]
    told = []
    for region in regions:
        for branch in ("down", "up"):
            bands = [one for one in pair.bands if (one.region, one.branch) == (region.name, branch)]
            chosen = next(iter(sorted(bands, key=lambda band: band.colour)), None)
            if chosen is not None and (sentence := _sentence(pair, chosen, units)):
                told.append(sentence)
    return [*told, *_why_not(pair, have)]


def region_of(pair: PairComparison, band: CurveBand) -> Region:
    """Return where on the keyboard the keys of a band lie, as people should speak of it."""
    region = next(region for region in REGIONS if region.name == band.region)
    return spoken_of(region, _numbers(pair, band.colour))


def _numbers(pair: PairComparison, colour: str) -> list[int]:
    """Return the keys of a colour that take part."""
    out = {key.number for key in pair.left_out}
    return [number for number in pair.keys if number not in out and Key(number).colour == colour]


def _sentence(pair: PairComparison, band: CurveBand, units: Units) -> str:
    long = [(start, end) for start, end in band.differs_mm if end - start >= SHORTEST_MM]
    if not long:
        return ""
    stretches = ", ".join(_stretch(band, start, end, units) for start, end in long[:STRETCHES_NAMED])
    more = f" and {len(long) - STRETCHES_NAMED} shorter stretches" if len(long) > STRETCHES_NAMED else ""
    where = region_of(pair, band).where
    return f"{DOING[band.branch]} a {band.colour} {where}, {pair.second} differs from {pair.first}: {stretches}{more}."


def _stretch(band: CurveBand, start: float, end: float, units: Units) -> str:
    inside = (band.way_mm >= start) & (band.way_mm <= end)
    most = int(np.flatnonzero(inside)[np.argmax(np.abs(band.difference_newton[inside]))])
    value, half = float(band.difference_newton[most]), float(band.half_width_newton[most])
    place = with_unit(float(band.way_mm[most]), "mm", units)
    size = f"{plus_minus(abs(value), half, 'N', units)} {'more' if value > 0.0 else 'less'}"
    return f"{with_unit(start, 'mm', units)} to {with_unit(end, 'mm', units)} (most at {place}: {size})"


def _why_not(pair: PairComparison, have: set[str]) -> list[str]:
    """Return why some parts of the keyboard have no band: too few keys, counted by colour."""
    without = []
    for region in PARTS:
        counts = [sum(map(region.holds, _numbers(pair, colour))) for colour in COLOURS]
        if region.name not in have and 0 < max(counts) < FEWEST_CURVES:
            told = [count_of(count, colour) for count, colour in zip(counts, COLOURS, strict=True) if count]
            without.append(f"{' and '.join(told)} {region.where}")
    if not without:
        return []
    takes = f"a band takes {FEWEST_CURVES} keys of a colour that both have"
    return [f"Where in the travel they differ is not told of {_listed(without)}: {takes}."]


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and of {words[-1]}"
