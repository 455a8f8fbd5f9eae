"""The whole analysis, on one page: from counts to numbers, top to bottom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from processing.budget.calibration_lines import CalibrationDoubt
from processing.calibrate import calibrate
from processing.calibration_doubt import doubt_of
from processing.calibration_status import with_calibration_flags, with_range_flags
from processing.curve import common_length_mm, kernel_half_width_mm, mean_curve, to_curve
from processing.dynamics.key import gather, with_dynamics
from processing.dynamics.numbers import Context
from processing.dynamics.recorded import place_u_mm, recorded_dynamics
from processing.errors import NoStroke
from processing.evidence import Evidence
from processing.front_edge import at_front_edge
from processing.inertia import Mass, accelerations, mass_of, motion_of, without_inertia
from processing.keyboard import KeyboardResult, compare_keys
from processing.measure import all_missing, measure_key
from processing.notes import notes_of_stroke, to_notes
from processing.quality.checks import run_checks
from processing.quality.key_evidence import KeyEvidence
from processing.quasi_static import quasi_static_part
from processing.segment import split_presses
from processing.settings import Settings
from processing.stages import CalibratedTrace, Curve, Finding, KeyResult, Measurement, Stroke
from processing.strokes import to_stroke
from recordings.types import Calibration, DiaryEntry, Header, KeyRecording, RawTrace, RunInfo

COMPARABLE_SHARE = 0.8
"""A stroke that goes less far than this share of the longest did not start from home."""


def analyse(
    header: Header,
    keys: Iterable[KeyRecording],
    settings: Settings | None = None,
    *,
    diary: tuple[DiaryEntry, ...] = (),
) -> KeyboardResult:
    """Return the results of a recording. Keys may come from an iterator; only their curves are kept.

    The latency bound in force, kept with the results, is the larger of the settings' and the recording's own.
    """
    chosen, doubt = settled_for(header, settings or Settings())
    results = tuple(
        with_calibration_flags(analyse_key(recording, header.calibration, chosen, doubt), header) for recording in keys
    )
    return replace(compare_keys(header, results, chosen), diary=diary)


def settled_for(header: Header, settings: Settings) -> tuple[Settings, CalibrationDoubt | None]:
    """Return what all keys of a recording are analysed with: settings, and how far its calibration may be off."""
    doubt = doubt_of(header.calibration.record, room_celsius=header.run.room_celsius)
    return with_recorded_latency(settings, header.run), doubt


def with_recorded_latency(settings: Settings, run: RunInfo) -> Settings:
    """Return the settings with a latency bound no smaller than the one that the recording says of its own notes."""
    recorded_s = (run.note_latency_bound_ms or 0.0) * 1e-3
    bound_s = max(settings.feature.latency_bound_s, recorded_s)
    return replace(settings, feature=replace(settings.feature, latency_bound_s=bound_s))


def analyse_key(
    recording: KeyRecording, calibration: Calibration, settings: Settings, doubt: CalibrationDoubt | None = None
) -> KeyResult:
    """Return the results of one key; what cannot be measured is there with its reason.

    doubt: how far the calibration may be off; None: nothing is known of it.
    """
    try:
        return _analyse_key(recording, calibration, settings, doubt)
    except NoStroke as absent:
        finding = Finding("no_stroke", str(absent), (), "record the key again", odd=False)
        return KeyResult(recording.key, 0, all_missing(str(absent)), "none", (finding,), None)


def strokes_of(
    recording: KeyRecording, calibration: Calibration, settings: Settings
) -> tuple[CalibratedTrace, tuple[Stroke, ...]]:
    """Return a recording in physical units and the presses in it. Raises NoStroke if there is none."""
    if not len(recording.trace):
        raise NoStroke("nothing of this key was kept but attempts that were set aside")
    trace = _calibrated(recording.trace, calibration, settings)
    return trace, tuple(to_stroke(trace, press, settings.stroke) for press in split_presses(trace, settings.stroke))


def _analyse_key(
    whole: KeyRecording, calibration: Calibration, settings: Settings, doubt: CalibrationDoubt | None
) -> KeyResult:
    recording = quasi_static_part(whole)
    trace, strokes = strokes_of(recording, calibration, settings)
    log = to_notes(recording.events, recording.key, first_tick_us=int(recording.trace.tick_us[0]))
    stroke_notes = tuple(notes_of_stroke(stroke, log) for stroke in strokes)

    used = comparable(strokes, settings)
    curves, heavier_curve, mass = _curves(trace, used, settings)
    curve = mean_curve(curves)
    dynamic = recorded_dynamics(whole, calibration, used, stated_at=settings.stated_at)
    pressed = gather(dynamic, strokes, used, log, settings, place_u_mm=place_u_mm(trace))

    evidence = Evidence(
        curve,
        curves,
        heavier_curve,
        tuple(notes for stroke, notes in zip(strokes, stroke_notes, strict=True) if stroke in used),
        notes_heard=log.heard,
        zero_u_newton=float(np.mean([stroke.zero_u_newton for stroke in used])),
        touch_u_mm=_touch_u_mm(trace, used),
        speed_mm_per_s=float(np.mean([stroke.down.speed_mm_per_s() for stroke in used])),
        flags=_flags(used, settings),
        doubt=doubt,
        trigger=pressed.trigger,
        release=pressed.release,
    )
    measurements, marks = measure_key(evidence, settings)
    measurements, seen = with_dynamics(measurements, pressed, curve, mass, Context(settings, doubt, evidence.flags))
    measurements = with_range_flags(measurements, trace, used, settings.feature.bed_newton)
    by_name = {measured.name: measured for measured in measurements}
    findings = run_checks(KeyEvidence(trace, strokes, used, curve, marks, log, stroke_notes, settings, by_name))
    measurements = _with_grit(measurements, findings)
    kind = marks.letoff.kind if marks else "none"
    window_mm = marks.window_mm(curve) if marks else None
    return KeyResult(recording.key, len(used), measurements, kind, findings, curve, curves, window_mm, seen)


def _calibrated(trace: RawTrace, calibration: Calibration, settings: Settings) -> CalibratedTrace:
    at_plunger = calibrate(trace, calibration)
    return at_front_edge(at_plunger, calibration) if settings.stated_at == "front edge" else at_plunger


def _with_grit(measurements: tuple[Measurement, ...], findings: tuple[Finding, ...]) -> tuple[Measurement, ...]:
    if not any(finding.code == "gritty" for finding in findings):
        return measurements
    return tuple(replace(measured, flags=(*measured.flags, "gritty")) for measured in measurements)


def _curves(
    trace: CalibratedTrace, used: tuple[Stroke, ...], settings: Settings
) -> tuple[tuple[Curve, ...], Curve, Mass]:
    """Return the strokes' curves without inertia, their mean if the key were heavier by its mass's uncertainty, and
    the mass."""
    half_width_mm = kernel_half_width_mm(used, settings.curve)
    until_mm = common_length_mm(used)
    pressed = tuple(
        to_curve(stroke, half_width_mm=half_width_mm, until_mm=until_mm, settings=settings.curve) for stroke in used
    )
    motion = motion_of(trace)
    moved = tuple(accelerations(stroke, motion, pressed[0].way_mm, half_width_mm) for stroke in used)
    mass = mass_of(pressed, moved, motion.noise_m_per_s2)
    light, heavy = (
        tuple(without_inertia(*pair, kg) for pair in zip(pressed, moved, strict=True))
        for kg in (mass.kg, mass.kg + mass.u_kg)
    )
    return light, mean_curve(heavy), mass


def _touch_u_mm(trace: CalibratedTrace, used: tuple[Stroke, ...]) -> float:
    """Return the standard uncertainty of the mean place of touch: rounding, noise, and the way between two samples."""
    spacing = max(stroke.travel_mm / max(len(stroke.down.way_mm), 1) for stroke in used)
    rounding = np.hypot(trace.displacement_step_mm, spacing) / np.sqrt(12.0)
    return float(np.hypot(rounding, trace.displacement_noise_mm) / np.sqrt(len(used)))


def comparable(strokes: tuple[Stroke, ...], settings: Settings) -> tuple[Stroke, ...]:
    """Return the strokes from home to bed, the slow ones among them if there are any.

    If no stroke comes to the force of the key bed, those that go about as far as the longest stand for them.
    """
    longest = max(stroke.travel_mm for stroke in strokes)
    far = tuple(stroke for stroke in strokes if stroke.travel_mm >= COMPARABLE_SHARE * longest)
    to_bed = tuple(stroke for stroke in far if stroke.down.force_newton.max() >= settings.feature.bed_newton)
    whole = to_bed or far
    slow = tuple(stroke for stroke in whole if stroke.down.speed_mm_per_s() <= 1.1 * settings.stroke.slow_mm_per_s)
    return slow or whole


def _flags(used: tuple[Stroke, ...], settings: Settings) -> tuple[str, ...]:
    flags = []
    if any(stroke.preloaded for stroke in used):
        flags.append("preloaded")
    if any(stroke.down.speed_mm_per_s() > 1.1 * settings.stroke.slow_mm_per_s for stroke in used):
        flags.append("fast")
    return tuple(flags)
