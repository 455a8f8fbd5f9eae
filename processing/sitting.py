"""A sitting: what drifted while a keyboard was recorded, told by check keys, and its numbers without it.

How it works: check keys are recorded once more in small recordings of their own, before, between and after. A key's
time is its recording's start and how much later its own samples begin by the rig's clock. Together with the same key in
the keyboard's own recording they tell a drift of each measurand (`statistics/drift.py`), and every key's number is
brought to the middle of the sitting, whether that drift is sure or not: one that is left in because it is not sure is
still there, and nothing would say so. How unsure slope and bend are become lines of the budget that all keys share,
signed, so that the slope nearly falls out of a mean and stays in a trend. The keyboard's own recording may be off as a
whole like any other, so numbers are brought to what all recordings show on average, too. Which drifts are sure, and of
which measurands the recordings surely do not lie on one straight line, over all measurands by Holm, is told
(`sitting_words.py`). Curves are settled likewise (`curve_drift.py`). What the rig had drifted before the sitting, no
check key can tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from processing.comparison.verdicts import holm
from processing.curve_drift import Measuring, settle_curves
from processing.errors import ForeignChecks
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult, compare_keys
from processing.measure import with_budget
from processing.settings import Settings
from processing.stages import KeyResult, Measurement
from processing.statistics.checked_again import SECONDS_PER_HOUR, CheckedAgain
from processing.statistics.drift import Drift, Untold, drift_of
from recordings.keys import Key

SURE_AT = 0.05


@dataclass(frozen=True, slots=True)
class Drifted:
    """How one measurand has drifted over a sitting."""

    name: str
    unit: str
    caption: str
    drift: Drift
    sure: bool
    """Among all measurands (Holm, 5 %)."""
    uneven: bool
    """The recordings surely do not lie on one straight line in time (the same)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sitting:
    """A keyboard without its drift, and what the drift was."""

    result: KeyboardResult
    drifted: tuple[Drifted, ...]
    """Of every measurand that the checks tell of."""
    untold: Untold | None
    """Why the checks tell of no measurand; None: they do of some."""
    check_keys: tuple[Key, ...]
    checks: int
    """How often a check key was measured in all."""
    recordings: int
    """In how many recordings, the keyboard's own among them."""
    outside: tuple[Key, ...]
    """Keys of the keyboard that were recorded before the first or after the last check."""


def settled(result: KeyboardResult, checks: Sequence[tuple[str, KeyboardResult]]) -> Sitting:
    """Return a keyboard as it would have been measured in the middle of its sitting.

    checks: recordings of check keys, each with what to call it.
    Raises ForeignChecks if one has no key in common with the keyboard.
    """
    recordings = [(one, _times(one)) for one in (result, *(check for _, check in checks))]
    (_, own), *others = recordings
    for (place, _), (_, times) in zip(checks, others, strict=True):
        if not times.keys() & own.keys():
            raise ForeignChecks(place, f"it holds no measured key of {result.header.run.instrument}")
    again = frozenset(key for _, times in others for key in times) & own.keys()
    span_s = (min(own.values()), max(own.values()))
    told, untold = [], set[Untold]()
    for feature in FEATURES:
        checked = _checked(recordings, feature.name, again)
        drift = drift_of(checked, span_s) if checked else "too few"
        if isinstance(drift, Drift):
            told.append((feature, drift))
        else:
            untold.add(drift)
    sure = _surely([drift.p for _, drift in told])
    uneven = _surely([1.0 if drift.p_straight is None else drift.p_straight for _, drift in told])
    drifted = tuple(
        Drifted(feature.name, feature.unit, feature.caption, drift, one, other)
        for (feature, drift), one, other in zip(told, sure, uneven, strict=True)
    )
    at_s = [times[key] for _, times in recordings for key in again & times.keys()]
    return Sitting(
        _without(_with_level_curves(result, own, _measurings(recordings, again)), own, drifted),
        drifted,
        None if told else "at one time" if "at one time" in untold else "too few",
        tuple(sorted(again)),
        len(at_s),
        len(recordings),
        tuple(sorted(key for key, time_s in own.items() if not min(at_s) <= time_s <= max(at_s))),
    )


def _surely(probabilities: list[float]) -> list[bool]:
    return [p < SURE_AT for p in holm(probabilities)]


def _times(result: KeyboardResult) -> dict[Key, float]:
    """Return when each key was recorded, in seconds since the epoch."""
    began = {key.key: key.began_s for key in result.keys if key.began_s is not None and key.strokes}
    first_s, started_s = min(began.values(), default=0.0), result.header.run.started_at.timestamp()
    return {key: started_s + at_s - first_s for key, at_s in began.items()}


def _checked(
    recordings: Sequence[tuple[KeyboardResult, dict[Key, float]]], name: str, again: frozenset[Key]
) -> list[CheckedAgain]:
    return [
        CheckedAgain(key.key, number, times[key.key], value)
        for number, (recording, times) in enumerate(recordings)
        for key in recording.keys
        if key.key in again and key.key in times and (value := key[name].value) is not None
    ]


def _measurings(
    recordings: Sequence[tuple[KeyboardResult, dict[Key, float]]], again: frozenset[Key]
) -> list[Measuring]:
    return [
        Measuring(number, times[key.key], key)
        for number, (recording, times) in enumerate(recordings)
        for key in recording.keys
        if key.key in again and key.key in times
    ]


def _with_level_curves(result: KeyboardResult, times: dict[Key, float], checked: list[Measuring]) -> KeyboardResult:
    """Return the keyboard with its curves as they would have been in the middle of the sitting."""
    if not times:
        return result
    at_s = [times.get(key.key) for key in result.keys]
    return replace(result, keys=settle_curves(result.keys, at_s, checked))


def _without(result: KeyboardResult, times: dict[Key, float], drifted: tuple[Drifted, ...]) -> KeyboardResult:
    taken_out = {one.name: one.drift for one in drifted}
    if not taken_out or not times:
        return result
    middle_s = (min(times.values()) + max(times.values())) / 2.0
    keys = tuple(
        _key_without(key, taken_out, (times[key.key] - middle_s) / SECONDS_PER_HOUR, result.settings)
        if key.key in times
        else key
        for key in result.keys
    )
    again = compare_keys(result.header, keys, result.settings)
    return replace(again, diary=result.diary, complete=result.complete)


def _key_without(key: KeyResult, taken_out: dict[str, Drift], hours: float, settings: Settings) -> KeyResult:
    measurements = tuple(
        _number_without(one, taken_out[one.name], hours, settings) if one.name in taken_out else one
        for one in key.measurements
    )
    return replace(key, measurements=measurements)


def _number_without(one: Measurement, drift: Drift, hours: float, settings: Settings) -> Measurement:
    if one.value is None or one.budget is None:
        return one
    corrections = drift.corrections(hours)
    budget = replace(
        one.budget,
        value=one.value + sum(correction.amount for correction in corrections),
        lines=(*one.budget.lines, *drift.lines(one.unit, hours)),
        correlations=(*one.budget.correlations, *drift.correlations),
        corrections=(*one.budget.corrections, *corrections),
        factor_share=1.0,
    )
    return with_budget(budget, one.flags, settings)
