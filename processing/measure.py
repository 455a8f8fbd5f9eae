"""From a key's curves to its measurements: value, uncertainty, flags, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from processing.bent_curves import BENDS
from processing.budget.calibration_lines import calibration_lines
from processing.budget.lines import Budget, Correlation, Line
from processing.budget.propagation import combine
from processing.budget.sources import LATENCY, otherwise_lines, rig_lines
from processing.dynamics.note_places import at_zero_speed, off_by_u
from processing.dynamics.sources import BY_NAME, TO_ZERO_SPEED
from processing.errors import FeatureNotFound
from processing.evidence import Evidence
from processing.features.read_off import NotePlaces, ReadOff
from processing.features.table import FEATURES, Feature
from processing.landmarks import Landmarks, find_landmarks
from processing.otherwise import notes_as_late_as_may_be, smoothed_again
from processing.rectangular import factor_share
from processing.settings import Settings
from processing.stages import Curve, Measurement, StrokeNotes
from processing.uncertainty import noise_line, noisy_copies, strokes_line


@dataclass(frozen=True, slots=True)
class Again:
    """The key read off again and again: as it was, and as it might have been."""

    singles: list[ReadOff]
    """Stroke by stroke."""
    noisy: list[ReadOff]
    """With its noise drawn anew."""
    bent: dict[str, tuple[float, ReadOff | FeatureNotFound, ReadOff | FeatureNotFound]]
    """By constant of the calibration: a step, and the key with the constant that much smaller and larger."""
    heavier: ReadOff | FeatureNotFound
    """Were the key's effective mass larger by its standard uncertainty."""
    smoother: ReadOff | FeatureNotFound
    """Were the curve smoothed once more."""
    later: ReadOff
    """Had the notes been heard as late as may be."""
    off_line: ReadOff
    """Were the notes' places off by what their lines to zero speed are unsure of."""


def measure_key(evidence: Evidence, settings: Settings) -> tuple[tuple[Measurement, ...], Landmarks | None]:
    """Return every feature's measurement, in the order of FEATURES, and the landmarks of the mean curve."""
    told = evidence.trigger, evidence.release
    whole = _read_off(
        evidence.curve, at_zero_speed(_places(evidence.stroke_notes, evidence.notes_heard), *told), settings
    )
    if isinstance(whole, FeatureNotFound):
        return all_missing(str(whole)), None
    places = [at_zero_speed(_places((notes,), evidence.notes_heard), *told) for notes in evidence.stroke_notes]
    singles = _readable(zip(evidence.stroke_curves, places, strict=True), settings)
    copies = _readable(((copy, whole.notes) for copy in noisy_copies(evidence.curve, settings.uncertainty)), settings)
    again = Again(
        singles,
        copies,
        _bent_both_ways(evidence, whole.notes, settings),
        _read_off(evidence.heavier_curve, whole.notes, settings),
        _read_off(smoothed_again(evidence.curve), whole.notes, settings),
        replace(whole, notes=notes_as_late_as_may_be(whole.notes, settings.feature.latency_bound_s)),
        replace(whole, notes=off_by_u(whole.notes, *told)),
    )
    measured = tuple(_measure(feature, whole, again, evidence, settings) for feature in FEATURES)
    return measured, whole.marks


def all_missing(reason: str) -> tuple[Measurement, ...]:
    """Return every feature as missing for one reason, in the order of FEATURES."""
    return tuple(Measurement(name=f.name, unit=f.unit, value=None, reason=reason) for f in FEATURES)


def _readable(curves: Iterable[tuple[Curve, NotePlaces]], settings: Settings) -> list[ReadOff]:
    read_offs = (_read_off(curve, places, settings) for curve, places in curves)
    return [read_off for read_off in read_offs if isinstance(read_off, ReadOff)]


def _read_off(curve: Curve, places: NotePlaces, settings: Settings) -> ReadOff | FeatureNotFound:
    try:
        return ReadOff(curve, find_landmarks(curve, settings.feature), places, settings.feature)
    except FeatureNotFound as absent:
        return absent


def _places(notes: tuple[StrokeNotes, ...], heard: bool) -> NotePlaces:
    triggers = [note.trigger_mm for note in notes if note.trigger_mm is not None]
    releases = [note.release_mm for note in notes if note.release_mm is not None]
    speeds = [note.speed_at_trigger_mm_per_s for note in notes if note.speed_at_trigger_mm_per_s is not None]
    why = "the note did not sound" if heard else "no note events were recorded"
    if triggers and not releases:
        why = "the note did not end on the way up"
    down = [note.plunger_at_trigger_mm_per_s for note in notes if note.plunger_at_trigger_mm_per_s is not None]
    up = [note.plunger_at_release_mm_per_s for note in notes if note.plunger_at_release_mm_per_s is not None]
    return NotePlaces(_mean(triggers), _mean(releases), _mean(speeds), why, _mean(down) or 0.0, _mean(up) or 0.0)


def _mean(values: list[float]) -> float | None:
    return float(np.mean(values)) if values else None


def _bent_both_ways(
    evidence: Evidence, notes: NotePlaces, settings: Settings
) -> dict[str, tuple[float, ReadOff | FeatureNotFound, ReadOff | FeatureNotFound]]:
    if evidence.doubt is None:
        return {}
    touch_newton = settings.stroke.touch_newton
    return {
        bend.constant: (
            bend.step,
            _read_off(*bend.bent(evidence, notes, -bend.step, touch_newton), settings),
            _read_off(*bend.bent(evidence, notes, bend.step, touch_newton), settings),
        )
        for bend in BENDS
    }


def _measure(feature: Feature, whole: ReadOff, again: Again, evidence: Evidence, settings: Settings) -> Measurement:
    try:
        value = feature.measure(whole)
    except FeatureNotFound as absent:  # only this one: a bug must stay a crash
        return Measurement(name=feature.name, unit=feature.unit, value=None, reason=str(absent))
    flags = list(evidence.flags)
    lines = [
        noise_line(_values(feature, again.noisy), value, feature.unit),
        *rig_lines(feature.name, feature.unit, evidence, settings),
        *otherwise_lines(
            feature.name,
            feature.unit,
            heavier=_moved(feature, value, again.heavier),
            smoother=_moved(feature, value, again.smoother),
            later=_moved(feature, value, again.later),
            curve=evidence.curve,
        ),
    ]
    told = [line for line in (evidence.trigger, evidence.release) if line is not None]
    if told:
        off = _moved(feature, value, again.off_line)
        lines.append(BY_NAME[TO_ZERO_SPEED].line(off, feature.unit, min(line.dof for line in told)))
    type_a = strokes_line(_values(feature, again.singles), feature.unit)
    if type_a is None:
        flags.append("single_stroke")
    else:
        lines.append(type_a)
    correlations: tuple[Correlation, ...] = ()
    if evidence.doubt is not None:
        more, correlations = calibration_lines(evidence.doubt, partial(_sensitivity, feature, value, again))
        lines += more
    return _with_budget(feature, value, lines, correlations, tuple(flags), settings)


def _with_budget(
    feature: Feature,
    value: float,
    lines: list[Line],
    correlations: tuple[Correlation, ...],
    flags: tuple[str, ...],
    settings: Settings,
) -> Measurement:
    plain = Budget(
        measurand=feature.name, unit=feature.unit, value=value, lines=tuple(lines), correlations=correlations
    )
    latest = next((abs(line.contribution) for line in lines if line.name == LATENCY), 0.0)
    share = factor_share(latest, combine(plain).u, settings.uncertainty.coverage)
    budget = replace(plain, factor_share=share)
    total = combine(budget)
    return Measurement(
        name=feature.name,
        unit=feature.unit,
        value=value,
        u=total.u,
        dof=total.dof,
        coverage_factor=total.coverage_factor(settings.uncertainty.coverage),
        flags=flags,
        budget=budget,
    )


def _sensitivity(feature: Feature, value: float, again: Again, constant: str) -> float:
    """Return how much a number changes for a unit change of a constant, by a central difference.

    Where the number is lost on one side, the other side alone tells; where it is lost on both, it hangs by a thread
    and nothing better is known than that a step either way could change all of it.
    """
    step, *both = again.bent[constant]
    slopes = [
        (changed - value) / change
        for change, read_off in zip((-step, step), both, strict=True)
        if isinstance(read_off, ReadOff)
        for changed in _values(feature, [read_off])
    ]
    return float(np.mean(slopes)) if slopes else abs(value) / step


def _moved(feature: Feature, value: float, otherwise: ReadOff | FeatureNotFound) -> float:
    """Return how far a number moves if something were otherwise; nothing, where it could not be read then."""
    read = _values(feature, [otherwise] if isinstance(otherwise, ReadOff) else [])
    return read[0] - value if read else 0.0


def _values(feature: Feature, read_offs: list[ReadOff]) -> list[float]:
    values = []
    for read_off in read_offs:
        try:
            values.append(feature.measure(read_off))
        except FeatureNotFound:
            continue
    return values
