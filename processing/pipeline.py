"""The whole analysis, on one page: from counts to numbers, top to bottom."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from processing.budget.calibration_lines import CalibrationDoubt
from processing.calibrate import at_temperature, calibrate
from processing.calibration_doubt import doubt_of
from processing.calibration_status import with_calibration_flags, with_range_flags
from processing.curve import common_length_mm, kernel_half_width_mm, mean_curve, smoothers_of, to_curve
from processing.dynamics.key import gather, with_dynamics
from processing.dynamics.numbers import Context
from processing.dynamics.recorded import place_u_mm, recorded_dynamics
from processing.errors import NoStroke
from processing.evidence import Evidence
from processing.front_edge import at_front_edge, with_lever
from processing.inertia import Accelerations, Mass, accelerations, mass_of, motion_of, without_inertia
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
from processing.zero_drift import zero_drift
from recordings.types import Calibration, DiaryEntry, Header, KeyRecording, RawTrace, RunInfo

COMPARABLE_SHARE = 0.8
"""A stroke that goes less far than this share of the longest did not start from home."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What all keys of a recording are analysed with."""

    calibration: Calibration
    """As it is at the room's temperature."""
    settings: Settings
    """With the latency bound that the recording says of its own notes."""
    doubt: CalibrationDoubt | None
    """How far the calibration may be off; None: nothing is known of it."""


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
    return side_by_side(header, each_key(header, keys, settings), settings, diary=diary)


def each_key(header: Header, keys: Iterable[KeyRecording], settings: Settings | None) -> Iterator[KeyResult]:
    """Yield the results of each key for itself."""
    basis = basis_of(header, settings)
    for recording in keys:
        result = analyse_key(recording, basis.calibration, basis.settings, basis.doubt)
        yield with_calibration_flags(result, header)


def side_by_side(
    header: Header, results: Iterable[KeyResult], settings: Settings | None, *, diary: tuple[DiaryEntry, ...]
) -> KeyboardResult:
    """Return the keys of a recording together, compared."""
    return replace(compare_keys(header, tuple(results), basis_of(header, settings).settings), diary=diary)


def basis_of(header: Header, settings: Settings | None) -> Basis:
    """Return what all keys of a recording are analysed with; None: the default settings."""
    celsius, record = header.run.room_celsius, header.calibration.record
    chosen = with_recorded_latency(settings or Settings(), header.run)
    doubt = doubt_of(record, room_celsius=celsius)
    if doubt is not None and record is not None and chosen.stated_at == "front edge":
        doubt = with_lever(doubt, record)
    return Basis(at_temperature(header.calibration, celsius), chosen, doubt)


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
    """Return a recording in physical units and the strokes in it, oldest first.

    Raises NoStroke if there is none.
    """
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
    curves, curve, heavier_curve, stricter_curve, mass = _curves(trace, used, settings)
    dynamic = recorded_dynamics(whole, calibration, used, stated_at=settings.stated_at)
    pressed = gather(dynamic, strokes, used, log, settings, place_u_mm=place_u_mm(trace))

    evidence = Evidence(
        curve,
        curves,
        heavier_curve,
        stricter_curve,
        tuple(notes for stroke, notes in zip(strokes, stroke_notes, strict=True) if stroke in used),
        notes_heard=log.heard,
        zero_u_newton=float(np.mean([stroke.zero_u_newton for stroke in used])),
        drift=zero_drift(used),
        touch_u_mm=_touch_u_mm(trace, used),
        speed_mm_per_s=float(np.mean([stroke.down.speed_mm_per_s for stroke in used])),
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
    kind, window_mm = (marks.letoff.kind, marks.window_mm(curve)) if marks else ("none", None)
    limit, began_s = marks.letoff.limit_newton if marks else None, 1e-6 * float(recording.trace.tick_us[0])
    return KeyResult(
        recording.key, len(used), measurements, kind, findings, curve, curves, window_mm, seen, limit, began_s
    )


def _calibrated(trace: RawTrace, calibration: Calibration, settings: Settings) -> CalibratedTrace:
    at_plunger = calibrate(trace, calibration)
    return at_front_edge(at_plunger, calibration) if settings.stated_at == "front edge" else at_plunger


def _with_grit(measurements: tuple[Measurement, ...], findings: tuple[Finding, ...]) -> tuple[Measurement, ...]:
    if all(finding.code != "gritty" for finding in findings):
        return measurements
    return tuple(replace(measured, flags=(*measured.flags, "gritty")) for measured in measurements)


def _curves(
    trace: CalibratedTrace, used: tuple[Stroke, ...], settings: Settings
) -> tuple[tuple[Curve, ...], Curve, Curve, Curve, Mass]:
    """Return the strokes' curves without inertia; their mean; it if the key were heavier by its mass's uncertainty; it
    if more ground had to be regained after a step back, the very same where there was none; and the mass."""
    half_width_mm = kernel_half_width_mm(used, settings.curve)
    until_mm = common_length_mm(used)
    motion = motion_of(trace)

    def pressed_and_moved(strokes: tuple[Stroke, ...]) -> list[tuple[Curve, Accelerations]]:
        made = []
        for stroke in strokes:
            by = smoothers_of(stroke, half_width_mm=half_width_mm, until_mm=until_mm, settings=settings.curve)
            made.append((to_curve(stroke, by), accelerations(stroke, motion, by)))
        return made

    pairs = pressed_and_moved(used)
    pressed, moved = zip(*pairs, strict=True)
    mass = mass_of(pressed, moved, motion.noise_m_per_s2)
    light, heavy = (tuple(without_inertia(*pair, kg) for pair in pairs) for kg in (mass.kg, mass.kg + mass.u_kg))
    curve = stricter_curve = mean_curve(light)
    if any(stroke.stricter is not None for stroke in used):
        stricter = tuple(_on_stricter_ground(stroke) for stroke in used)
        stricter_curve = mean_curve(tuple(without_inertia(*pair, mass.kg) for pair in pressed_and_moved(stricter)))
    return light, curve, mean_curve(heavy), stricter_curve, mass


def _on_stricter_ground(stroke: Stroke) -> Stroke:
    if stroke.stricter is None:
        return stroke
    down, up = stroke.stricter
    return replace(stroke, down=down, up=up)


def _touch_u_mm(trace: CalibratedTrace, used: tuple[Stroke, ...]) -> float:
    """Return the standard uncertainty of the mean place of touch: rounding, the way between two samples, and noise.

    Noise alone differs from stroke to stroke: a motor comes to the key in the same step at the same sample each time.
    """
    spacing = max(stroke.travel_mm / max(len(stroke.down.way_mm), 1) for stroke in used)
    rounding = np.hypot(trace.displacement_step_mm, spacing) / np.sqrt(12.0)
    return float(np.hypot(rounding, trace.displacement_noise_mm / np.sqrt(len(used))))


def comparable(strokes: tuple[Stroke, ...], settings: Settings) -> tuple[Stroke, ...]:
    """Return the strokes from home to bed, the slow ones among them if there are any.

    If no stroke comes to the force of the key bed, those that go about as far as the longest stand for them.
    """
    longest = max(stroke.travel_mm for stroke in strokes)
    far = tuple(stroke for stroke in strokes if stroke.travel_mm >= COMPARABLE_SHARE * longest)
    to_bed = tuple(stroke for stroke in far if stroke.down.force_newton.max() >= settings.feature.bed_newton)
    whole = to_bed or far
    slow = tuple(stroke for stroke in whole if stroke.down.speed_mm_per_s <= 1.1 * settings.stroke.slow_mm_per_s)
    return slow or whole


def _flags(used: tuple[Stroke, ...], settings: Settings) -> tuple[str, ...]:
    flags = []
    if any(stroke.preloaded for stroke in used):
        flags.append("preloaded")
    if any(stroke.down.speed_mm_per_s > 1.1 * settings.stroke.slow_mm_per_s for stroke in used):
        flags.append("fast")
    return tuple(flags)
