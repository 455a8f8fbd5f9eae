"""Slow strokes on a virtual key for the price of some milliseconds, where a whole line of keyboards is to be pressed.

How it works: the key's mechanism (`key_action.py`) is led down and up once, in steps of some micrometres, which gives
the force it needs at every place. A plunger that follows a trapezoid of speed, wobbles with its screw and gives under
the force is laid over these two curves; the sensors (`sensors.py`) and the key's notes (`notes.py`) see what follows.

Left out, against the bench (`bench.py`): the key's mass, so no ringing, no bounce and no fall behind the notch; the
contact's damping; the touch that seeks the key before the first stroke; strokes that differ in more than noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from rig.protocol.messages import EVENT_DTYPE, SAMPLE_DTYPE, Source
from rig.virtual.bench import BenchSpec
from rig.virtual.key_action import KeyAction
from rig.virtual.notes import SPEED_OVER_MM, NoteSensor
from rig.virtual.scenario import KeySpec
from rig.virtual.sensors import Sensors
from rig.virtual.truths import STEP_MM, TrueCurve, curve_from_touch

FloatArray = NDArray[np.float64]
Rows = np.ndarray[tuple[int], np.dtype[np.void]]

FINE_MM, COARSE_MM, FINE_OVER_MM = 0.002, 0.01, 0.16
"""Steps where friction is taken up or the cloth lets go, and where all is smooth."""
SPEED_MM_PER_S, ACCELERATION_MM_PER_S2, TURN_NEWTON = 4.0, 200.0, 4.0
"""As in the programme `slow`."""
REST_S = 0.4
ABOVE_MM = (0.7, 1.2)
"""Where the plunger waits above the key, between these."""


@dataclass(frozen=True, slots=True, eq=False)
class LedCurve:
    """The force that leads a key slowly down and up. Arrays (N,) each, places of the key on its own way, rising."""

    down_mm: FloatArray
    down_newton: FloatArray
    up_mm: FloatArray
    up_newton: FloatArray

    def even(self) -> TrueCurve:
        """Return it on the even grid that truths are read from."""
        places = np.arange(self.down_mm[0], self.down_mm[-1], STEP_MM)
        down, up = (np.interp(places, *way) for way in ((self.down_mm, self.down_newton), (self.up_mm, self.up_newton)))
        return curve_from_touch(places, down, up)


def led_curve(key: KeySpec) -> LedCurve:
    """Return the curve of a fresh key, led to TURN_NEWTON and back."""
    action = KeyAction(key.action)
    place = rest = action.key_mm
    down = [(place, 0.0)]
    while down[-1][1] < TURN_NEWTON:
        step = FINE_MM if place - rest < FINE_OVER_MM else COARSE_MM
        place += step
        down.append((place, _led(action, place, step, 1.0)))
    top, up = place, [down[-1]]
    while place > rest:
        step = FINE_MM if min(top - place, place - rest) < FINE_OVER_MM else COARSE_MM
        place = max(place - step, rest)
        up.append((place, max(0.0, _led(action, place, step, -1.0))))
    up[-1] = (rest, 0.0)
    return LedCurve(*np.array(down).T, *np.array(up[::-1]).T)


def _led(action: KeyAction, place_mm: float, step_mm: float, way: float) -> float:
    speed = SPEED_MM_PER_S * way
    return action.standing_force(place_mm) + action.friction.advance(
        speed, step_mm / SPEED_MM_PER_S, action.grit.grip(place_mm)
    )


def press_quickly(
    key: KeySpec, curve: LedCurve, spec: BenchSpec, random: np.random.Generator, *, strokes: int = 3
) -> tuple[Rows, Rows]:
    """Return samples (N,) of SAMPLE_DTYPE and events (M,) of EVENT_DTYPE of some slow strokes.

    curve: the key's. spec: its stage, sensors, rate, give and seed count. random: where the plunger starts.
    """
    place_mm, key_mm, force = _strokes(key, curve, spec, key.surface_mm - random.uniform(*ABOVE_MM), strokes)
    ticks = 1_000_000 // spec.sample_rate_hz * np.arange(1, len(place_mm) + 1)
    sensors = Sensors(spec.sensors, sample_rate_hz=spec.sample_rate_hz, seed=spec.seed)
    late = spec.sensors.force_delay_samples
    shown = np.concatenate([np.zeros(late), force[: len(force) - late]]) + sensors.force_errors(len(force))
    samples = np.empty(len(ticks), SAMPLE_DTYPE)
    samples["tick_us"] = ticks & 0xFFFFFFFF
    samples["force_counts"] = sensors.force_counts(shown)
    samples["displacement_counts"] = sensors.displacement_counts(place_mm)
    return samples, _notes(key, key_mm, ticks)


def _strokes(
    key: KeySpec, curve: LedCurve, spec: BenchSpec, start_mm: float, count: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return where plunger (from the top of the stage) and key are and the force between them, all (N,)."""
    give, offset = spec.compliance_mm_per_newton, key.surface_mm - curve.down_mm[0]
    down_at = curve.down_mm + give * curve.down_newton + offset
    up_at = curve.up_mm + give * curve.up_newton + offset
    down = _plunger(_way(down_at[-1] - start_mm + 0.1, spec, stops=False) + start_mm, spec)
    down = down[: int(np.searchsorted(down, down_at[-1]))]
    up = _plunger(down[-1] - _way(down[-1] - start_mm, spec, stops=True), spec)
    rest = np.full(round(REST_S * spec.sample_rate_hz), start_mm)
    one = [np.interp(down, down_at, curve.down_newton), np.interp(up, up_at, curve.up_newton), np.zeros(len(rest))]
    led = [np.interp(down, down_at, curve.down_mm), np.interp(up, up_at, curve.up_mm), rest - offset]
    force = np.concatenate([np.zeros(len(rest)), *one * count])
    return np.concatenate([rest, *[down, up, rest] * count]), np.concatenate([rest - offset, *led * count]), force


def _way(length_mm: float, spec: BenchSpec, *, stops: bool) -> FloatArray:
    """Return how far a move has come at each sample: it speeds up evenly, and slows down at its end if it stops."""
    ramp_s = SPEED_MM_PER_S / ACCELERATION_MM_PER_S2
    lasts_s = length_mm / SPEED_MM_PER_S + ramp_s * (1.0 if stops else 0.5)
    at = np.arange(1, int(lasts_s * spec.sample_rate_hz) + 1) / spec.sample_rate_hz
    way = np.where(at < ramp_s, 0.5 * ACCELERATION_MM_PER_S2 * at**2, SPEED_MM_PER_S * (at - 0.5 * ramp_s))
    if stops:
        left_s = lasts_s - at
        way = np.where(left_s < ramp_s, length_mm - 0.5 * ACCELERATION_MM_PER_S2 * left_s**2, way)
    return way


def _plunger(screw_mm: FloatArray, spec: BenchSpec) -> FloatArray:
    """Return where the plunger is when the screw is here."""
    return screw_mm + spec.stage.ripple_mm * np.sin(2.0 * pi / spec.stage.screw_pitch_mm * screw_mm)


def _notes(key: KeySpec, key_mm: FloatArray, ticks: NDArray[np.int64]) -> Rows:
    """Return what the key says; its sensor is asked only where a place that matters to it is passed."""
    sensor, note = NoteSensor(key.note, midi_note=key.number + 20), key.note
    passed = [np.flatnonzero(np.diff(key_mm >= at)) for at in (note.on_mm - SPEED_OVER_MM, note.on_mm)]
    passed += [np.flatnonzero(np.diff(key_mm <= at)) for at in (note.off_mm, note.rearm_mm)]
    before = np.concatenate(passed)
    said = []
    for index in np.unique(np.concatenate([before, before + 1])):
        said += sensor.watch(float(key_mm[index]), int(ticks[index]))
    return np.array([(tick & 0xFFFFFFFF, Source.MIDI_IN, byte) for tick, byte in said], EVENT_DTYPE)
