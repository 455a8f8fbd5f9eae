"""From a key's curves to its measurements: value, uncertainty, flags, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from math import sqrt

import numpy as np

from processing.bent_curves import BENDS, OF_THE_STROKES
from processing.budget.calibration_lines import calibration_lines
from processing.budget.lines import Budget, Correction, Line
from processing.budget.otherwise_lines import AT_KINKS, otherwise_lines
from processing.budget.propagation import combine
from processing.budget.sources import STROKE_BY_STROKE, rig_lines
from processing.dynamics.note_places import at_zero_speed, off_by_u
from processing.dynamics.sources import BY_NAME, TO_ZERO_SPEED
from processing.errors import FeatureNotFound
from processing.evidence import Evidence
from processing.features.read_off import NOT_HEARD, NotePlaces, ReadOff
from processing.features.table import FEATURES, Feature
from processing.landmarks import Landmarks, find_landmarks
from processing.otherwise import notes_as_late_as_may_be, smoothed_again
from processing.rectangular import factor_share
from processing.settings import Settings
from processing.stages import Curve, Measurement, StrokeNotes
from processing.uncertainty import lean_of, noise_line, noisy_copies, strokes_line, top_scatter_mm

TOP_FROM_MM = 1.5
"""How far before its peak a let-off is looked at for where noise may put the peak: F_before is taken further up."""


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
    stricter: ReadOff | FeatureNotFound
    """Had more way to be regained after each step back."""
    smoother: ReadOff | FeatureNotFound
    """Were the curve smoothed once more."""
    later: ReadOff
    """Had the notes been heard as late as may be."""
    off_line: ReadOff
    """Were the notes' places off by what their lines to zero speed are unsure of."""
    peak_scatter_mm: float
    """How far noise moves the place of the let-off's peak; 0 where that was not to be seen."""


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
    drawn = noisy_copies(evidence.curve, evidence.stroke_curves, settings.uncertainty)
    copies = _readable(((copy, whole.notes) for copy in drawn), settings)
    smoother = _read_off(smoothed_again(evidence.curve), whole.notes, settings)
    again = Again(
        singles,
        copies,
        _bent_both_ways(evidence, whole.notes, settings),
        _read_off(evidence.heavier_curve, whole.notes, settings),
        whole
        if evidence.stricter_curve is evidence.curve
        else _read_off(evidence.stricter_curve, whole.notes, settings),
        smoother,
        replace(whole, notes=notes_as_late_as_may_be(whole.notes, settings.feature.latency_bound_s)),
        replace(whole, notes=off_by_u(whole.notes, *told)),
        _peak_scatter_mm(whole, smoother, copies),
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
    why = "the note did not sound" if heard else NOT_HEARD
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
    touch_newton = settings.stroke.touch_newton
    return {
        bend.constant: (
            bend.step,
            _read_off(*bend.bent(evidence, notes, -bend.step, touch_newton), settings),
            _read_off(*bend.bent(evidence, notes, bend.step, touch_newton), settings),
        )
        for bend in (OF_THE_STROKES if evidence.doubt is None else OF_THE_STROKES + BENDS)
    }


def _measure(feature: Feature, whole: ReadOff, again: Again, evidence: Evidence, settings: Settings) -> Measurement:
    try:
        value = feature.measure(whole)
    except FeatureNotFound as absent:  # only this one: a bug must stay a crash
        return Measurement(name=feature.name, unit=feature.unit, value=None, reason=str(absent))
    sensitivity = partial(_sensitivity, feature, value, again)
    own, corrections = _lines_of_the_recording(feature, value, again, evidence, settings)
    type_a = [line for line in (_repeatability(feature, again, own),) if line is not None]
    more, correlations = ((), ()) if evidence.doubt is None else calibration_lines(evidence.doubt, sensitivity)
    budget = Budget(
        measurand=feature.name,
        unit=feature.unit,
        value=max(feature.least, value + sum(correction.amount for correction in corrections)),
        lines=(*own, *type_a, *more),
        correlations=correlations,
        corrections=corrections,
    )
    return with_budget(budget, evidence.flags if type_a else (*evidence.flags, "single_stroke"), settings)


def _lines_of_the_recording(
    feature: Feature, value: float, again: Again, evidence: Evidence, settings: Settings
) -> tuple[tuple[Line, ...], tuple[Correction, ...]]:
    """Return the lines of noise, of the rig and of what may have been otherwise; and the corrections."""
    copies = _values(feature, again.noisy)
    otherwise, corrections = otherwise_lines(
        feature.name,
        feature.unit,
        lean=lean_of(copies, value),
        heavier=_moved(feature, value, again.heavier),
        stricter=_moved(feature, value, again.stricter),
        smoother=_moved(feature, value, again.smoother),
        later=_moved(feature, value, again.later),
        curve=evidence.curve,
    )
    rig = rig_lines(feature.name, evidence, settings, partial(_sensitivity, feature, value, again))
    noise = noise_line(copies, feature.unit, at_least=again.peak_scatter_mm if feature.name in AT_KINKS else 0.0)
    own = (noise, *rig, *otherwise, *_line_to_zero_speed(feature, value, again, evidence))
    return own, corrections


def _peak_scatter_mm(whole: ReadOff, smoother: ReadOff | FeatureNotFound, copies: list[ReadOff]) -> float:
    letoff = whole.marks.letoff
    if letoff.peak_mm is None or letoff.end_mm is None or not isinstance(smoother, ReadOff):
        return 0.0
    return top_scatter_mm(
        whole.curve,
        smoother.curve,
        (copy.curve for copy in copies),
        from_mm=letoff.peak_mm - TOP_FROM_MM,
        to_mm=letoff.end_mm,
    )


def _line_to_zero_speed(feature: Feature, value: float, again: Again, evidence: Evidence) -> list[Line]:
    told = [line for line in (evidence.trigger, evidence.release) if line is not None]
    if not told:
        return []
    off = _moved(feature, value, again.off_line)
    return [BY_NAME[TO_ZERO_SPEED].line(off, feature.unit, min(line.dof for line in told))]


def _repeatability(feature: Feature, again: Again, own: tuple[Line, ...]) -> Line | None:
    known_u = sqrt(sum(line.contribution**2 for line in own if line.name in STROKE_BY_STROKE))
    return strokes_line(_values(feature, again.singles), feature.unit, known_u=known_u)


def with_budget(plain: Budget, flags: tuple[str, ...], settings: Settings) -> Measurement:
    """Return the measurement whose value and uncertainty a budget makes."""
    bounds = [abs(line.contribution) for line in plain.lines if line.distribution == "rectangular"]
    total = combine(plain)
    share = factor_share(max(bounds, default=0.0), total.u, settings.uncertainty.coverage)
    return Measurement(
        name=plain.measurand,
        unit=plain.unit,
        value=plain.value,
        u=total.u,
        dof=total.dof,
        coverage_factor=share * total.coverage_factor(settings.uncertainty.coverage),
        flags=flags,
        budget=plain if share == 1.0 else replace(plain, factor_share=share),
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
    return sum(slopes) / len(slopes) if slopes else abs(value) / step


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
