"""Limits from units that are known to be good: which of their keys are examples, and what is proposed from them.

How it works: each unit's keys that no check calls odd, by measurand and colour, give limits that run from bass to
treble (`proposal.py`). Limits hold values as measured: the keys' own part of the measurement's uncertainty is in their
scatter and makes them wider; what all keys of a recording share, as the calibration, is not seen by units that were
measured with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

from processing.errors import CannotLearn
from processing.keyboard import COLOURS, KeyboardResult
from processing.limits.findings import CALIBRATION_FLAGS, DOUBTFUL_FLAGS
from processing.limits.learned import Learned, LearnSettings, Proposal
from processing.limits.proposal import proposed
from processing.stages import KeyResult
from processing.statistics.series import Series, series_of
from processing.statistics.settings import StatisticsSettings
from recordings.keys import Key


def learn_limits(
    results: Sequence[KeyboardResult], labels: Sequence[str], settings: LearnSettings | None = None
) -> Learned:
    """Return proposed limits from the results of good units, one each. labels: what the units are called.

    Raises CannotLearn if a unit is there twice, was measured by other settings, or nothing can be learned at all.
    """
    chosen = settings or LearnSettings()
    _demand_different_units(results, labels)
    analysis = _settings_in_common(results, labels)
    odd = {label: _odd_numbers(result) for label, result in zip(labels, results, strict=True)}
    proposals = tuple(
        proposal
        for name in chosen.measurands
        for colour in COLOURS
        if (proposal := proposed(_all_series(results, labels, odd, name, colour), chosen)) is not None
    )
    good = [
        [key for key in result.keys if key.key.number not in odd[label]]
        for label, result in zip(labels, results, strict=True)
    ]
    _demand_examples(good, labels, proposals)
    return Learned(
        units=tuple(labels),
        models=tuple(sorted({result.header.run.instrument for result in results})),
        without_serial=_labels_where(labels, (result.header.run.serial is None for result in results)),
        uncalibrated=_labels_where(labels, map(_is_uncalibrated, results)),
        settings=chosen,
        proposals=proposals,
        odd_keys=tuple((label, Key(number)) for label in labels for number in sorted(odd[label])),
        letoff=_letoff_of([key for unit in good for key in unit]),
        keys=tuple(sorted(frozenset.intersection(*(frozenset(key.key for key in unit.keys) for unit in results)))),
        most_good=_most_good(good),
        strokes=min(key.strokes for unit in good for key in unit),
        bed_newton=analysis[0],
        touch_newton=analysis[1],
        stated_at=analysis[2],
    )


def _demand_examples(good: Sequence[Sequence[KeyResult]], labels: Sequence[str], proposals: Sequence[Proposal]) -> None:
    """Raise CannotLearn, with what is wanted and what there is, if a unit has no good key or nothing is proposed."""
    for keys, label in zip(good, labels, strict=True):
        if not keys:
            raise CannotLearn(f"no key of {label} is good: checks call them odd or found nothing; leave it out")
    if proposals:
        return
    have = " and ".join(f"{count} {colour}s" for colour, count in _most_good(good).items())
    raise CannotLearn(
        f"it takes {StatisticsSettings().fewest_keys} good keys of one colour in a unit, with numbers that are not in "
        f"doubt; the most there are in one are {have}, of which some may have no such numbers; record whole units"
    )


def _most_good(good: Sequence[Sequence[KeyResult]]) -> dict[str, int]:
    """Return how many good keys of each colour the unit has that has the most."""
    return {colour: max(sum(key.key.colour == colour for key in keys) for keys in good) for colour in COLOURS}


def _demand_different_units(results: Sequence[KeyboardResult], labels: Sequence[str]) -> None:
    known: dict[tuple[str, str], str] = {}
    for result, label in zip(results, labels, strict=True):
        run = result.header.run
        if run.serial is None:
            continue
        if (run.instrument, run.serial) in known:
            first = known[run.instrument, run.serial]
            raise CannotLearn(
                f"{first} and {label} are one unit, {run.serial}, measured twice, and tell nothing about other units; "
                "give each unit once"
            )
        known[run.instrument, run.serial] = label


def _settings_in_common(
    results: Sequence[KeyboardResult], labels: Sequence[str]
) -> tuple[float, float, Literal["plunger", "front edge"]]:
    """Return force of the key bed and of touch, N, and where both are stated."""
    told = [(one.feature.bed_newton, one.stroke.touch_newton, one.stated_at) for one in (r.settings for r in results)]
    for label, one in zip(labels, told, strict=True):
        if one != told[0]:
            raise CannotLearn(f"{label} was measured by other settings than {labels[0]}; measure all alike")
    return told[0]


def _odd_numbers(result: KeyboardResult) -> frozenset[int]:
    """Return the keys that are no examples: odd ones, and ones of which nothing was measured."""
    return frozenset(
        key.key.number for key in result.keys if key.curve is None or any(finding.odd for finding in key.findings)
    )


def _all_series(
    results: Sequence[KeyboardResult], labels: Sequence[str], odd: dict[str, frozenset[int]], name: str, colour: str
) -> dict[str, Series]:
    """Return a measurand over the good keys of a colour, for each unit that has enough of them."""
    found = {
        label: series_of(result, name, colour, without=odd[label] | _doubtful_numbers(result, name))
        for label, result in zip(labels, results, strict=True)
    }
    fewest = StatisticsSettings().fewest_keys
    return {label: series for label, series in found.items() if series is not None and len(series.numbers) >= fewest}


def _doubtful_numbers(result: KeyboardResult, name: str) -> frozenset[int]:
    doubtful = DOUBTFUL_FLAGS.keys() - set(CALIBRATION_FLAGS)
    return frozenset(key.key.number for key in result.keys if not doubtful.isdisjoint(key[name].flags))


def _letoff_of(keys: Sequence[KeyResult]) -> Literal["found", "shoulder"] | None:
    kinds = {key.letoff for key in keys}
    if kinds == {"found"}:
        return "found"
    return "shoulder" if kinds <= {"found", "shoulder"} else None


def _is_uncalibrated(result: KeyboardResult) -> bool:
    marks = set(CALIBRATION_FLAGS)
    return any(not marks.isdisjoint(one.flags) for key in result.keys for one in key.measurements)


def _labels_where(labels: Sequence[str], conditions: Iterable[bool]) -> tuple[str, ...]:
    return tuple(label for label, condition in zip(labels, conditions, strict=True) if condition)
