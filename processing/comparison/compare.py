"""The whole comparison, on one page: from the results of keyboards to differences with their surety.

How it works: keys that stand out in either keyboard are named and take no part in means. Everything that is asked of
all pairs together (differences by colour and region, evenness, parts that one has and the other lacks) is one family
of tests: probabilities are adjusted by Holm, so that in 95 of 100 comparisons of keyboards without a difference nothing
is called different. A key's neighbours may resemble it; how much is asked once per measurand over the whole keyboard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from processing.comparison.cautions import cautions_of
from processing.comparison.margins import read_margins
from processing.comparison.noticed import FELT_AGAINST, noticed, threshold_of
from processing.comparison.pair_curves import curve_bands
from processing.comparison.paired import Paired, mean_difference, pair
from processing.comparison.presence import presences
from processing.comparison.regions import REGIONS, WHOLE, Region, spoken_of
from processing.comparison.settings import ComparisonSettings
from processing.comparison.types import (
    Comparison,
    Difference,
    Evenness,
    LeftOut,
    PairComparison,
    PresenceDiffers,
    Verdict,
)
from processing.comparison.verdicts import holm, p_equivalent
from processing.errors import NothingInCommon
from processing.features.table import FEATURES
from processing.keyboard import COLOURS, KeyboardResult
from processing.statistics.correlated import FEWEST, Resemblance, fading_of, resemblance_of
from processing.statistics.keyboard_statistics import KeyboardStatistics, describe_keyboard
from processing.statistics.scatter import Scatter, ratio_of_spreads
from processing.statistics.series import Series, series_of
from processing.statistics.trend import lack_of_fit, scatter_about, without_outliers
from recordings.calibration_file import content_id

SAID_BY_OTHERS = frozenset(
    {"bed_contact", "letoff_onset_position", "letoff_end_position", "letoff_rise", "letoff_ratio"}
    | {"return_work", "release_height"}
)
"""Not asked: they follow others nearly one to one, and every test makes all others harder (Holm)."""
TAIL_OF_FADING = 0.5
"""Satterthwaite's degrees of freedom fit a quadratic form's variance, not its far tail, where a family of tests looks.
Simulated 9600 times at a fading of 0.5 a ratio beyond its 0.1 % came in 0.33 %; with this much taken off, in 0.10 %."""
NOT_OF_THE_KEYBOARD = frozenset({"speed_at_trigger"})
"""Says how the rig pressed."""


def compare_keyboards(
    results: Sequence[KeyboardResult],
    labels: Sequence[str],
    *,
    described: Sequence[KeyboardStatistics] | None = None,
    margins: dict[str, float] | None = None,
    settings: ComparisonSettings | None = None,
) -> Comparison:
    """Return the comparison of each keyboard with the first. labels: what they are called, all different.

    described: the statistics of each, by the same settings, where somebody has them; None: they are made here.
    Raises NothingInCommon if one has no measured key in common with the first; ValueError for fewer than two.
    """
    if len(results) < 2 or len(set(labels)) != len(results):
        raise ValueError(
            f"{len(results)} keyboards called {list(labels)}; a comparison needs two with names of their own"
        )
    chosen, within = settings or ComparisonSettings(), read_margins() if margins is None else margins
    drafts = [
        _draft((results[0], result), (labels[0], label), len(results) - 1, chosen)
        for result, label in zip(results[1:], labels[1:], strict=True)
    ]
    pairs = _judged(drafts, within, chosen)
    return Comparison(
        tuple(labels),
        tuple(results),
        tuple(described or (describe_keyboard(result, chosen.statistics) for result in results)),
        pairs,
        sum(len(draft.probabilities) for draft in drafts),
        within,
        chosen,
        cautions_of(results, labels, pairs, chosen.alpha),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Draft:
    """A pair before it is judged in the family of all tests."""

    pair: PairComparison
    """Its probabilities are those of each test alone, its verdicts all open."""

    @property
    def probabilities(self) -> list[float]:
        """In the order differences, evenness, presences."""
        told = self.pair
        return [
            *(one.p_family for one in told.differences),
            *(one.p_family for one in told.evenness),
            *(one.p_family for one in told.presences),
        ]


def _draft(
    results: tuple[KeyboardResult, KeyboardResult], labels: tuple[str, str], pairs: int, settings: ComparisonSettings
) -> _Draft:
    measured = [{key.key.number: key for key in result.keys if key.strokes} for result in results]
    common = tuple(sorted(set(measured[0]) & set(measured[1])))
    if not common:
        raise NothingInCommon(*labels)
    left_out = _left_out(results, labels, common)
    without = frozenset(key.number for key in left_out)
    one_record = _rest_on_one_record(*results)
    series = {
        (feature.name, colour): tuple(series_of(result, feature.name, colour, without=without) for result in results)
        for feature in FEATURES
        if feature.name not in SAID_BY_OTHERS | NOT_OF_THE_KEYBOARD
        for colour in COLOURS
    }
    both = {where: (a, b) for where, (a, b) in series.items() if a is not None and b is not None}
    asked = ask(both, one_record=one_record, settings=settings)
    bands = curve_bands(measured[0], measured[1], common, without, asked.paired, pairs, settings)
    return _Draft(
        PairComparison(
            *labels,
            one_record,
            common,
            left_out,
            asked.differences,
            asked.evenness,
            tuple(PresenceDiffers(one, one.p, different=False) for one in presences(*measured)),
            bands,
            asked.paired,
        )
    )


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """Every test of a pair that rests on numbers, each by itself: probabilities not yet adjusted, verdicts open."""

    paired: tuple[Paired, ...]
    differences: tuple[Difference, ...]
    evenness: tuple[Evenness, ...]


def ask(
    both: Mapping[tuple[str, str], tuple[Series, Series]], *, one_record: bool, settings: ComparisonSettings
) -> Asked:
    """Return differences and evenness of two keyboards, given the series of both by measurand and colour."""
    paired = tuple(told for a, b in both.values() if (told := pair(a, b, one_record=one_record)) is not None)
    resemblances = {
        name: resemblance_of([(one.places, one.differences) for one in paired if one.name == name])
        for name in dict.fromkeys(one.name for one in paired)
    }
    return Asked(
        paired,
        tuple(one for told in paired for one in _differences(told, resemblances[told.name])),
        tuple(
            one
            for a, b in both.values()
            if (one := _evenness(a, b, _fading_of_either(both, a.name), settings)) is not None
        ),
    )


def _fading_of_either(both: Mapping[tuple[str, str], tuple[Series, Series]], name: str) -> float:
    """Return how strongly next neighbours correlate in a measurand, over both keyboards and both colours."""
    told = [series for (measurand, _), pair_of in both.items() if measurand == name for series in pair_of]
    return fading_of([(series.places, series.values) for series in told])


def _left_out(
    results: tuple[KeyboardResult, KeyboardResult], labels: tuple[str, str], common: tuple[int, ...]
) -> tuple[LeftOut, ...]:
    odd = [{key.result.key.number for key in result.odd_keys} for result in results]
    told = (
        LeftOut(number, tuple(label for label, numbers in zip(labels, odd, strict=True) if number in numbers))
        for number in common
    )
    return tuple(key for key in told if key.stands_out_in)


def _rest_on_one_record(first: KeyboardResult, second: KeyboardResult) -> bool:
    records = [result.header.calibration.record for result in (first, second)]
    return all(record is not None for record in records) and len({content_id(r) for r in records if r}) == 1


def _differences(paired: Paired, resemblance: Resemblance) -> list[Difference]:
    """Return the differences by region; of keys that speak of themselves alone only that of all of them."""
    regions = REGIONS if len(paired.numbers) >= FEWEST else (WHOLE,)
    return [one for region in regions if (one := _difference(paired, region, resemblance)) is not None]


def _difference(paired: Paired, region: Region, resemblance: Resemblance) -> Difference | None:
    inside = [index for index, number in enumerate(paired.numbers) if region.holds(number)]
    if not inside or (region is not WHOLE and len(inside) == len(paired.numbers)):
        return None
    mean = mean_difference(paired, inside, resemblance)
    return Difference(
        paired.name,
        paired.unit,
        paired.colour,
        spoken_of(region, [int(number) for number in paired.numbers]),
        len(inside),
        float(paired.first[inside].mean()),
        float(paired.second[inside].mean()),
        mean,
        mean.estimate.p,
        "open",
        None,
        None,
        None,
    )


def _evenness(first: Series, second: Series, fading: float, settings: ComparisonSettings) -> Evenness | None:
    """Return how two series scatter, about the same kind of trend: local lines if a line fits one of them badly."""
    chosen = settings.statistics
    if min(len(first.numbers), len(second.numbers)) < chosen.fewest_keys:
        return None
    kept = [without_outliers(series, chosen) for series in (first, second)]
    curved = any(lack_of_fit(series, chosen) < chosen.curved_alpha for series in kept)
    one, other = (
        _with_its_tail(scatter_about(series, "smooth" if curved else "line", fading, chosen), fading) for series in kept
    )
    ratio = ratio_of_spreads(one, other, settings.coverage)
    if ratio is None:
        return None
    return Evenness(first.name, first.unit, first.colour, one.spread, other.spread, ratio, ratio.p, different=False)


def _with_its_tail(scatter: Scatter, fading: float) -> Scatter:
    """Return a scatter with the degrees of freedom that its tail has: of values that resemble their neighbours, fewer
    than its variance says."""
    return replace(scatter, dof=max(1.0, scatter.dof * (1.0 - TAIL_OF_FADING * fading)))


def _judged(
    drafts: list[_Draft], margins: dict[str, float], settings: ComparisonSettings
) -> tuple[PairComparison, ...]:
    adjusted = holm([p for draft in drafts for p in draft.probabilities])
    judged = []
    for draft in drafts:
        told, left = draft.pair, adjusted
        here, adjusted = left[: len(draft.probabilities)], left[len(draft.probabilities) :]
        of_evenness = here[len(told.differences) :]
        of_presences = of_evenness[len(told.evenness) :]
        judged.append(
            replace(
                told,
                differences=tuple(
                    _judge(one, p, told, margins, settings) for one, p in zip(told.differences, here, strict=False)
                ),
                evenness=tuple(
                    replace(one, p_family=p, different=p < settings.alpha)
                    for one, p in zip(told.evenness, of_evenness, strict=False)
                ),
                presences=tuple(
                    replace(one, p_family=p, different=p < settings.alpha)
                    for one, p in zip(told.presences, of_presences, strict=True)
                ),
            )
        )
    return tuple(judged)


def _judge(
    one: Difference, p_family: float, told: PairComparison, margins: dict[str, float], settings: ComparisonSettings
) -> Difference:
    margin = margins.get(one.name)
    p_alike = None if margin is None else p_equivalent(one.mean.estimate, margin)
    verdict: Verdict = "open"
    if p_family < settings.alpha:
        verdict = "different"
    elif p_alike is not None and p_alike < settings.alpha:
        verdict = "alike"
    against = told.difference(FELT_AGAINST.get(one.name, ""), one.colour, one.region.name)
    felt = None if against is None else float(np.mean([against.first, against.second]))
    threshold = threshold_of(one.name, one.unit, felt)
    return replace(
        one,
        p_family=p_family,
        verdict=verdict,
        margin=margin,
        p_alike=p_alike,
        within_margin=p_alike is not None and p_alike < settings.alpha,
        noticed=None if threshold is None else noticed(one.mean.estimate.value, threshold),
    )
