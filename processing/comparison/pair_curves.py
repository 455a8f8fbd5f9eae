"""The bands of a pair: every colour, region and branch for which enough keys have a curve in both recordings.

How it works: keys that stand out are left out as in the means; the way ends where the first key bed begins, since
behind it a hundredth of a millimetre makes more force than any action. How neighbours resemble each other is asked
over the whole keyboard once a branch. The force scale's relative uncertainty is read off the budget of the down weight.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from processing.budget.calibration_lines import FORCE_POWERS
from processing.comparison.curves import (
    BRANCHES,
    BandSettings,
    Branch,
    CurveBand,
    common_way,
    curve_band,
    fading_of_curves,
    forces_on,
)
from processing.comparison.paired import Paired
from processing.comparison.regions import REGIONS
from processing.comparison.settings import ComparisonSettings
from processing.keyboard import COLOURS
from processing.stages import Curve, KeyResult
from processing.statistics.series import PLACES

Keys = dict[int, KeyResult]


def curve_bands(
    first: Keys,
    second: Keys,
    common: Sequence[int],
    without: frozenset[int],
    paired: Sequence[Paired],
    one_record: bool,
    settings: ComparisonSettings,
) -> tuple[CurveBand, ...]:
    """Return all bands of a pair. first, second: measured keys by number; common: numbers that both have."""
    scale = (*_scale_us(paired, one_record), one_record)
    drawing = BandSettings(
        step_mm=settings.curve_step_mm, draws=settings.band_draws, seed=settings.seed, coverage=settings.coverage
    )
    bands = []
    for branch in BRANCHES:
        numbers = [n for n in common if n not in without and all(_has(keys[n], branch) for keys in (first, second))]
        if not numbers:
            continue
        until_mm = min(_bed_mm(keys[number]) for keys in (first, second) for number in numbers)
        fading = _fading(first, second, numbers, branch, until_mm, settings.curve_step_mm)
        for colour in COLOURS:
            for region in REGIONS:
                inside = [n for n in numbers if region.holds(n) and first[n].key.colour == colour]
                bands.append(
                    curve_band(
                        [_curve(first[number]) for number in inside],
                        [_curve(second[number]) for number in inside],
                        tuple(PLACES[number] for number in inside),
                        about=(colour, region.name, branch),
                        until_mm=until_mm,
                        scale_u_of=scale,
                        fading=fading,
                        settings=drawing,
                    )
                )
    return tuple(band for band in bands if band is not None)


def _curve(key: KeyResult) -> Curve:
    assert key.curve is not None
    return key.curve


def _has(key: KeyResult, branch: Branch) -> bool:
    return key.curve is not None and (branch == "down" or key.curve.up_newton is not None)


def _bed_mm(key: KeyResult) -> float:
    """Return where the key bed begins, or where the curve ends if that is not known."""
    value = key["bed_contact"].value
    return float(_curve(key).way_mm[-1]) if value is None else value


def _fading(first: Keys, second: Keys, numbers: list[int], branch: Branch, until_mm: float, step_mm: float) -> float:
    way = common_way([_curve(keys[number]) for keys in (first, second) for number in numbers], until_mm, step_mm)
    runs = []
    for colour in COLOURS:
        own = [number for number in numbers if first[number].key.colour == colour]
        if own:
            before, after = (forces_on([_curve(keys[n]) for n in own], way, branch) for keys in (first, second))
            runs.append((tuple(PLACES[number] for number in own), after - before))
    return fading_of_curves(runs)


def _scale_us(paired: Sequence[Paired], one_record: bool) -> tuple[float, float]:
    """Return the relative standard uncertainty of either force scale, 0 where no record tells."""
    names = [FORCE_POWERS[0]] * 2 if one_record else [f"{FORCE_POWERS[0]}, {which}" for which in ("first", "second")]
    lines = [line for one in paired if one.name == "down_weight" for part in one.shared for line in part.lines]
    us = [[line.u for line in lines if line.name == name] for name in names]
    first, second = (float(np.mean(u)) if u else 0.0 for u in us)
    return first, second
