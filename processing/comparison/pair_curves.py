"""The bands of a pair: every colour, region and branch for which enough keys have a curve in both recordings.

How it works: keys that stand out are left out as in the means; the way ends where the first key bed begins, since
behind it a hundredth of a millimetre makes more force than any action. How neighbours resemble each other is asked
over the whole keyboard once a branch. A band is spoken of if it is that of a part of the keyboard; what a comparison
says of all its bands together holds with the stated coverage, so each is drawn with the more.
"""

from __future__ import annotations

from collections.abc import Sequence

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
from processing.comparison.regions import PARTS, REGIONS
from processing.comparison.settings import ComparisonSettings
from processing.comparison.shared_curves import WEIGHT_OF, SharedOnCurves
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
    pairs: int,
    settings: ComparisonSettings,
) -> tuple[CurveBand, ...]:
    """Return all bands of a pair. first, second: measured keys by number; common: numbers that both have.

    pairs: how many there are in the comparison.
    """
    spoken_of = pairs * len(PARTS) * len(BRANCHES)
    drawing = BandSettings(
        step_mm=settings.curve_step_mm,
        draws=settings.band_draws,
        seed=settings.seed,
        coverage=1.0 - (1.0 - settings.coverage) / spoken_of,
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
                weight = next((one for one in paired if (one.name, one.colour) == (WEIGHT_OF[branch], colour)), None)
                of_both = [[_curve(keys[number]) for number in inside] for keys in (first, second)]
                about = colour, region.name, branch
                bands.append(_band(of_both, inside, about, until_mm, weight, fading, drawing))
    return tuple(band for band in bands if band is not None)


def _band(
    of_both: list[list[Curve]],
    numbers: list[int],
    about: tuple[str, str, Branch],
    until_mm: float,
    weight: Paired | None,
    fading: float,
    drawing: BandSettings,
) -> CurveBand | None:
    firsts, seconds = of_both
    return curve_band(
        firsts,
        seconds,
        tuple(PLACES[number] for number in numbers),
        about=about,
        until_mm=until_mm,
        shared_u_of=SharedOnCurves(firsts, seconds, about[-1], weight, numbers, drawing.coverage).u_on,
        fading=fading,
        settings=drawing,
    )


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
