"""A sitting: what drifted while a keyboard was recorded, told by check keys, and its numbers without it.

How it works: check keys are recorded once more in small recordings of their own, before, between and after. A key's
time is its recording's start and how much later its own samples begin by the rig's clock. Together with the same key in
the keyboard's own recording they tell a drift of each measurand (`statistics/drift.py`), and every key's number is
brought to the middle of the sitting, whether that drift is sure or not: one that is left in because it is not sure is
still there, and nothing would say so. How unsure the slope is becomes a line of the budget that all keys share, signed,
so that it nearly falls out of a mean and stays in a trend. Which drifts are sure, over all measurands by Holm, is told.
Curves are settled likewise (`curve_drift.py`). What the rig had drifted before the sitting, no check key can tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from processing.budget.lines import Correction
from processing.comparison.verdicts import holm
from processing.curve_drift import settle_curves
from processing.display import Units, with_unit
from processing.errors import ForeignChecks
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult, compare_keys
from processing.measure import with_budget
from processing.settings import Settings
from processing.stages import KeyResult, Measurement
from processing.statistics.drift import SECONDS_PER_HOUR, SITTING, CheckedAgain, Drift, drift_bound, drift_of
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


@dataclass(frozen=True, slots=True, eq=False)
class Sitting:
    """A keyboard without its drift, and what the drift was."""

    result: KeyboardResult
    drifted: tuple[Drifted, ...]
    """Of every measurand that the checks tell of; empty: they were too few."""
    check_keys: tuple[Key, ...]
    checks: int
    """How often a check key was measured in all."""


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
    told = [
        (feature, drift)
        for feature in FEATURES
        if (drift := drift_of(_checked(recordings, feature.name, again))) is not None
    ]
    sure = [p < SURE_AT for p in holm([drift.per_hour.p for _, drift in told])]
    drifted = tuple(
        Drifted(feature.name, feature.unit, feature.caption, drift, sure=surely)
        for (feature, drift), surely in zip(told, sure, strict=True)
    )
    count = sum(len(again & times.keys()) for _, times in recordings)
    level = _with_level_curves(result, own, _measurings(recordings, again))
    return Sitting(_without(level, own, drifted), drifted, tuple(sorted(again)), count)


def _times(result: KeyboardResult) -> dict[Key, float]:
    """Return when each key was recorded, in seconds since the epoch."""
    began = {key.key: key.began_s for key in result.keys if key.began_s is not None and key.strokes}
    first_s, started_s = min(began.values(), default=0.0), result.header.run.started_at.timestamp()
    return {key: started_s + at_s - first_s for key, at_s in began.items()}


def _checked(
    recordings: Sequence[tuple[KeyboardResult, dict[Key, float]]], name: str, again: frozenset[Key]
) -> list[CheckedAgain]:
    return [
        CheckedAgain(key.key, times[key.key], value)
        for recording, times in recordings
        for key in recording.keys
        if key.key in again and key.key in times and (value := key[name].value) is not None
    ]


def _measurings(
    recordings: Sequence[tuple[KeyboardResult, dict[Key, float]]], again: frozenset[Key]
) -> list[tuple[float, KeyResult]]:
    return [
        (times[key.key], key)
        for recording, times in recordings
        for key in recording.keys
        if key.key in again and key.key in times
    ]


def _with_level_curves(
    result: KeyboardResult, times: dict[Key, float], checked: list[tuple[float, KeyResult]]
) -> KeyboardResult:
    """Return the keyboard with its curves as they would have been in the middle of the sitting."""
    if not times:
        return result
    middle_s = (min(times.values()) + max(times.values())) / 2.0
    hours = [(times[key.key] - middle_s) / SECONDS_PER_HOUR if key.key in times else None for key in result.keys]
    return replace(result, keys=settle_curves(result.keys, hours, checked))


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
    amount = -drift.per_hour.value * hours
    budget = replace(
        one.budget,
        value=one.value + amount,
        lines=(*one.budget.lines, drift.line(one.unit, hours)),
        corrections=(*one.budget.corrections, Correction(SITTING, amount)),
        factor_share=1.0,
    )
    return with_budget(budget, one.flags, settings)


def sitting_sentences(sitting: Sitting, name: str, units: Units) -> list[str]:
    """Return what drifted, in words. name: what the keyboard is called."""
    keys = ", ".join(key.name for key in sitting.check_keys)
    if not sitting.drifted:
        return [
            f"{name}: {sitting.checks} measurements of the check keys {keys} are too few to tell a drift from chance; "
            "three more than there are check keys are the least."
        ]
    told = [
        f"{one.caption} drifted by {with_unit(one.drift.per_hour.value, one.unit, units)} an hour "
        f"(± {with_unit(one.drift.per_hour.expanded(), one.unit, units)})"
        for one in sitting.drifted
        if one.sure
    ]
    head = f"{name}: by check keys {keys}, measured {sitting.checks} times,"
    bounds = [one for one in sitting.drifted if not one.sure and one.name in ("down_weight", "friction", "key_dip")]
    rest = [f"{one.caption.lower()} by {with_unit(drift_bound(one.drift), one.unit, units)}" for one in bounds]
    sentences = [f"{head} {'; '.join(told)}." if told else f"{head} nothing surely drifted."]
    if rest:
        sentences.append(f"{name}: between first and last check there drifted at most {', '.join(rest)}.")
    sentences.append(
        f"{name}: what the checks say of drift, sure or not, is taken out of every key; what that leaves open is in "
        "the budgets."
    )
    return sentences
