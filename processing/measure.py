"""From a key's curves to its measurements: value, uncertainty, flags, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from processing.errors import FeatureNotFound
from processing.features.read_off import NotePlaces, ReadOff
from processing.features.table import FEATURES, Feature
from processing.inertia import HEAVIEST_KEY_KG
from processing.landmarks import Landmarks, find_landmarks
from processing.otherwise import notes_as_late_as_may_be, smoothed_again, smoothing_bound
from processing.rectangular import factor_share
from processing.settings import Settings
from processing.stages import Curve, Measurement, StrokeNotes
from processing.uncertainty import Part, combine, coverage_factor, from_strokes, noisy_copies


@dataclass(frozen=True, slots=True)
class _Otherwise:
    """The key read again: were it heavier, were the curve smoother, were the notes as late as may be."""

    heavier: ReadOff | FeatureNotFound
    smoother: ReadOff | FeatureNotFound
    later: ReadOff


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the numbers of one key rest on."""

    curve: Curve
    stroke_curves: tuple[Curve, ...]
    heavier_curve: Curve
    """The mean curve if the key's effective mass were larger by its standard uncertainty."""
    stroke_notes: tuple[StrokeNotes, ...]
    notes_heard: bool
    zero_u_newton: float
    touch_u_mm: float
    """Standard uncertainty of x = 0."""
    speed_mm_per_s: float
    flags: tuple[str, ...]


def measure_key(evidence: Evidence, settings: Settings) -> tuple[tuple[Measurement, ...], Landmarks | None]:
    """Return every feature's measurement, in the order of FEATURES, and the landmarks of the mean curve."""
    whole = _read_off(evidence.curve, _places(evidence.stroke_notes, evidence.notes_heard), settings)
    if isinstance(whole, FeatureNotFound):
        return all_missing(str(whole)), None
    places = [_places((notes,), evidence.notes_heard) for notes in evidence.stroke_notes]
    singles = _readable(zip(evidence.stroke_curves, places, strict=True), settings)
    copies = _readable(((copy, whole.notes) for copy in noisy_copies(evidence.curve, settings.uncertainty)), settings)
    latest_s = settings.feature.latency_bound_s
    other = _Otherwise(
        _read_off(evidence.heavier_curve, whole.notes, settings),
        _read_off(smoothed_again(evidence.curve), whole.notes, settings),
        replace(whole, notes=notes_as_late_as_may_be(whole.notes, latest_s)),
    )
    measured = tuple(_measure(feature, whole, singles, copies, other, evidence, settings) for feature in FEATURES)
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


def _measure(
    feature: Feature,
    whole: ReadOff,
    singles: list[ReadOff],
    copies: list[ReadOff],
    other: _Otherwise,
    evidence: Evidence,
    settings: Settings,
) -> Measurement:
    try:
        value = feature.measure(whole)
    except FeatureNotFound as absent:  # only this one: a bug must stay a crash
        return Measurement(name=feature.name, unit=feature.unit, value=None, reason=str(absent))
    flags = list(evidence.flags)
    parts = [_noise_part(_values(feature, copies), value), *_rig_parts(feature, evidence)]
    otherwise = _otherwise_parts(feature, value, other, evidence.curve)
    parts += otherwise
    type_a = from_strokes(_values(feature, singles))
    if type_a is None:
        flags.append("single_stroke")
    else:
        parts.append(type_a)
    total = combine(parts)
    return Measurement(
        name=feature.name,
        unit=feature.unit,
        value=value,
        u=total.u,
        dof=total.dof,
        coverage_factor=coverage_factor(total.dof, settings.uncertainty.coverage)
        * factor_share(otherwise[-1].u, total.u, settings.uncertainty.coverage),
        flags=tuple(flags),
    )


def _otherwise_parts(feature: Feature, value: float, other: _Otherwise, curve: Curve) -> list[Part]:
    """Return what inertia, smoothing and latency may have done to a number, the last as a rectangular bound."""
    heavier, smoother, later = (
        next(iter(_values(feature, [read] if isinstance(read, ReadOff) else [])), value) - value
        for read in (other.heavier, other.smoother, other.later)
    )
    smoothing = smoothing_bound(feature.name, smoother, curve)
    return [Part(abs(heavier), 1e3), Part(smoothing / np.sqrt(3.0), 1e3), Part(abs(later) / np.sqrt(3.0), 1e3)]


def _values(feature: Feature, read_offs: list[ReadOff]) -> list[float]:
    values = []
    for read_off in read_offs:
        try:
            values.append(feature.measure(read_off))
        except FeatureNotFound:
            continue
    return values


def _noise_part(values: list[float], value: float) -> Part:
    """Return what noise does to a number: how it scatters and, where an extreme is picked, how far it leans."""
    if len(values) < 2:
        return Part(0.0, 1.0)
    return Part(float(np.hypot(np.std(values, ddof=1), np.mean(values) - value)), len(values) - 1.0)


DIFFERENCES = ("friction", "letoff_rise", "letoff_drop", "breakaway", "damper_step")
"""Forces less forces: the zero of the cell falls out."""


FORCE_AT_ENDS_NEWTON = 1.0
"""A shift of x = 0 by dx changes a work by the force at its ends times dx; no plain key takes 1 N before the bed."""


def _start_ramp_newton(evidence: Evidence) -> float:
    """Return how much force setting the key in motion can take: m v^2 / (2 d), d the kernel's half-width.

    Source: energy of the moving key over the way in which it was given; 0.35 kg is a heavy bass key's effective mass.
    """
    speed_m_per_s, way_m = evidence.speed_mm_per_s * 1e-3, evidence.curve.half_width_mm * 1e-3
    return HEAVIEST_KEY_KG * speed_m_per_s**2 / (2.0 * way_m)


def _rig_parts(feature: Feature, evidence: Evidence) -> list[Part]:
    """Return the type B parts: zero of the cell, resolution of the gauge, the start of the key."""
    parts = []
    strokes = max(1, evidence.curve.strokes)
    if feature.unit == "N" and feature.name not in DIFFERENCES:
        parts.append(Part(evidence.zero_u_newton / np.sqrt(strokes), 1e3))
    if feature.unit == "mm":
        parts.append(Part(evidence.touch_u_mm, 1e3))
    if feature.unit == "mJ":
        parts.append(Part(evidence.touch_u_mm * FORCE_AT_ENDS_NEWTON, 1e3))
    if feature.name == "breakaway":
        parts.append(Part(_start_ramp_newton(evidence) / np.sqrt(3.0), 1e3))
    return parts
