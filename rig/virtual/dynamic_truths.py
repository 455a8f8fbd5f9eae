"""What the model knows about its keys in motion: latency, reset, sustain window, mass, response to speed.

How it works: all of it is read off the numbers that the key was made of; nothing is shared with `processing/`. A note's
first byte leaves `latency_s` after its cause and has arrived one byte later; the cause itself is seen at the first
sample behind it, half a sample late on average. The bench reckons the contact force from where the key was one time
step ago, so a key in steady motion is one step ahead of where force and plunger say. The key's own place is turned
into way from touch as in `truths.py`.
Not known in closed form, and so not told: how fast the key can repeat, and how its velocities scatter.
"""

from __future__ import annotations

from math import ceil, exp, log

from rig.virtual.bench import STEP_S
from rig.virtual.notes import MIDI_BYTE_US
from rig.virtual.scenario import KeySpec
from rig.virtual.truths import BED_NEWTON, first_reached, true_curve

SLOWEST_MM_PER_S, FASTEST_MM_PER_S = 5.0, 1000.0
"""Speeds of velocity 1 and 127."""
SPOKEN_OF = (16, 64, 127)
BYTES_BEFORE_HIGH_RESOLUTION = 3
"""Controller 88 goes before the note."""


def true_dynamics(key: KeySpec, *, sample_rate_hz: float = 1000.0) -> dict[str, float | None]:
    """Return the true value of what dynamic steps give, units as in the JSON contract: mm, ms, kg, mm/s.

    sample_rate_hz: how often the rig looks at the key.
    """
    curve = true_curve(key)
    dip_mm = first_reached(curve.way_mm, curve.down_newton, BED_NEWTON, after=curve.way_mm[-1] / 2)
    reset_mm = dip_mm - (key.note.rearm_mm - curve.touch_mm)
    return {
        "note_latency": 1e3 * true_latency_s(key, sample_rate_hz=sample_rate_hz),
        "reset_height": reset_mm,
        "sustain_window": None if key.note.stuck else key.note.rearm_mm - key.note.off_mm,
        "effective_mass": key.action.effective_mass_kg,
        "lowest_velocity": 1.0,
        **{f"speed_for_velocity_{velocity}": true_speed_for(velocity) for velocity in SPOKEN_OF},
    }


def true_latency_s(key: KeySpec, *, sample_rate_hz: float) -> float:
    """Return how long after the key passed its place the first byte of the note has arrived, on average."""
    waits = BYTES_BEFORE_HIGH_RESOLUTION if key.note.high_resolution else 0
    ahead_s = 1.0 / sample_rate_hz / ceil(1.0 / sample_rate_hz / STEP_S)
    return key.note.latency_s + (waits + 1) * MIDI_BYTE_US * 1e-6 + 0.5 / sample_rate_hz - ahead_s


def true_speed_for(velocity: float) -> float:
    """Return the key speed in mm/s at which the sensor's law, not yet rounded, gives a velocity.

    The inverse of v = 1 + 126 ln(s / 5) / ln(200); see `notes.py`.
    """
    return SLOWEST_MM_PER_S * exp((velocity - 1.0) / 126.0 * log(FASTEST_MM_PER_S / SLOWEST_MM_PER_S))
