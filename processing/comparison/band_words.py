"""Where in the travel two keyboards differ, in sentences.

How it works: they surely differ where a band leaves out 0, for the bands of all parts, ways and pairs that are spoken
of hold together (`pair_curves.py`).
"""

from __future__ import annotations

import numpy as np

from processing.comparison.curves import CurveBand
from processing.comparison.regions import PARTS
from processing.comparison.types import PairComparison
from processing.display import Units, number, with_unit

DOING = {"down": "Pressing", "up": "Letting up"}
SHORTEST_MM = 0.2
"""Stretches that are shorter are not spoken of: less than the smoothing is wide."""
STRETCHES_NAMED = 4


def band_sentences(pair: PairComparison, units: Units) -> list[str]:
    """Return for every part of the keyboard and branch where the band of the naturals leaves out 0; sharps if alone."""
    told = []
    for region in PARTS:
        for branch in ("down", "up"):
            bands = [one for one in pair.bands if (one.region, one.branch) == (region.name, branch)]
            chosen = next(iter(sorted(bands, key=lambda band: band.colour)), None)
            if chosen is not None and (sentence := _sentence(pair, chosen, region.where, units)):
                told.append(sentence)
    return told


def _sentence(pair: PairComparison, band: CurveBand, where: str, units: Units) -> str:
    long = [(start, end) for start, end in band.differs_mm if end - start >= SHORTEST_MM]
    if not long:
        return ""
    stretches = ", ".join(_stretch(band, start, end, units) for start, end in long[:STRETCHES_NAMED])
    more = f" and {len(long) - STRETCHES_NAMED} shorter stretches" if len(long) > STRETCHES_NAMED else ""
    return f"{DOING[band.branch]} a {band.colour} {where}, {pair.second} differs from {pair.first}: {stretches}{more}."


def _stretch(band: CurveBand, start: float, end: float, units: Units) -> str:
    inside = (band.way_mm >= start) & (band.way_mm <= end)
    most = int(np.flatnonzero(inside)[np.argmax(np.abs(band.difference_newton[inside]))])
    value, half = float(band.difference_newton[most]), float(band.half_width_newton[most])
    told = (number(one, "N", units, expanded=half) for one in (abs(value), half))
    size = f"{' ± '.join(told)} {units.of('N')}"
    place = with_unit(float(band.way_mm[most]), "mm", units)
    length = f"{with_unit(start, 'mm', units)} to {with_unit(end, 'mm', units)}"
    return f"{length}, at most {size} {'more' if value > 0.0 else 'less'} at {place}"
