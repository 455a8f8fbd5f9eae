"""The dynamic stretches of a key's recording in physical units: fast strokes, partial lifts, repetitions.

How it works: the samples under marks of DYNAMIC_STEPS are calibrated as the slow strokes are. The plunger stands on
the key between these presses, so they have no touch and no zero of their own: both are taken from the slow strokes
beside them. Times count from the first of these samples, for samples and notes alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.calibrate import calibrate
from processing.front_edge import at_front_edge
from processing.notes import NoteLog, to_notes
from processing.stages import Branch, CalibratedTrace, Note, Stroke
from recordings.types import DYNAMIC_STEPS, Calibration, KeyRecording, Mark

SPEED_LADDER, PARTIAL_LIFTS, REPETITIONS = DYNAMIC_STEPS


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """What a mark has named: the plunger tip's way in time, x = 0 at the touch of the slow strokes."""

    mark: Mark
    samples: Branch
    """All samples, on new ground or not."""


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """All dynamic stretches of a key, and its notes."""

    stretches: tuple[Stretch, ...]
    notes: NoteLog

    def of(self, step: str) -> tuple[Stretch, ...]:
        """Return the stretches of one kind of step, in the order of time."""
        return tuple(stretch for stretch in self.stretches if stretch.mark.step == step)

    def notes_between(self, from_s: float, to_s: float) -> list[Note]:
        """Return the notes that began in a span of time, oldest first."""
        return [note for note in self.notes.notes if from_s <= note.on_s < to_s]


def recorded_dynamics(
    recording: KeyRecording, calibration: Calibration, used: tuple[Stroke, ...], *, stated_at: str
) -> Recorded | None:
    """Return the dynamic stretches of a recording, None if it has none. used: its slow strokes."""
    numbers = recording.trace.sample_number
    marks = [mark for mark in recording.marks if mark.step in DYNAMIC_STEPS]
    inside = np.zeros(len(numbers), np.bool_)
    for mark in marks:
        inside |= (numbers >= mark.first_sample) & (numbers <= mark.last_sample)
    if not inside.any():
        return None
    raw = recording.trace.part(inside)
    trace = calibrate(raw, calibration)
    if stated_at == "front edge":
        trace = at_front_edge(trace, calibration)
    force = trace.force_newton - float(np.mean([stroke.zero_newton for stroke in used]))
    way = trace.displacement_mm - trace.give_mm(force) - touch_of(used)
    at_s = {mark: _span_s(mark, raw.sample_number, raw.tick_us) for mark in marks}
    stretches = []
    for mark, (from_s, to_s) in at_s.items():
        here = (trace.time_s >= from_s) & (trace.time_s <= to_s)
        if here.any():
            stretches.append(Stretch(mark, Branch(trace.time_s[here], way[here], force[here])))
    notes = to_notes(recording.events, recording.key, first_tick_us=int(raw.tick_us[0]))
    return Recorded(tuple(stretches), notes)


def touch_of(used: tuple[Stroke, ...]) -> float:
    """Return where slow strokes touched the key, on the stage's scale, mm: x = 0 of everything faster."""
    return float(np.mean([stroke.touch_mm for stroke in used]))


def place_u_mm(trace: CalibratedTrace) -> float:
    """Return the standard uncertainty of one sample's place: noise and the gauge's step."""
    return float(np.hypot(trace.displacement_noise_mm, trace.displacement_step_mm / np.sqrt(12.0)))


def _span_s(
    mark: Mark,
    sample_number: np.ndarray[tuple[int], np.dtype[np.int64]],
    tick_us: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> tuple[float, float]:
    """Return when a mark's samples begin and end; nothing (an end before its beginning) if none were kept."""
    here = tick_us[(sample_number >= mark.first_sample) & (sample_number <= mark.last_sample)]
    return (float(here[0] - tick_us[0]) * 1e-6, float(here[-1] - tick_us[0]) * 1e-6) if len(here) else (0.0, -1.0)
