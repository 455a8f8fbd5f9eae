"""What a raw press on a reference says: force without zero, at its own time, and the place at one force both ways.

How it works: the zero lies on the straight line between the air before and after the press; the force is brought back
by its delay as in an analysis, by the record in force if it has that part, else as the rig states. The place at a force
is read off a parabola through the samples near it, down and up each for itself, in counts. A hand trembles:
while it steps back the gauge stays where it was as far as its play goes, so such samples are left out, against
something stiff by the force, against a spring by the speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from processing.calibrate import delay_us, displacement_mm, force_newton, noise_sigma
from processing.calibration.errors import TooFewReadings
from processing.calibration.settings import PlaceSettings
from processing.stages import BoolArray, FloatArray, read_only
from recordings.types import Calibration, RawTrace

FEWEST_SAMPLES = 8
"""Near the force, on each way: a parabola and some to spare."""


@dataclass(frozen=True, slots=True, eq=False)
class FreePress:
    """One press without zero. All arrays (N,), in time order, read-only."""

    time_s: FloatArray
    force_newton: FloatArray
    displacement_counts: FloatArray
    displacement_mm: FloatArray
    turn: int
    """Where the way down ends and the way up begins."""

    def __post_init__(self) -> None:
        read_only(self.time_s, self.force_newton, self.displacement_counts, self.displacement_mm)


@dataclass(frozen=True, slots=True)
class PlaceBothWays:
    """Where the gauge stood when one force was passed, in counts, and how fast it went, mm/s."""

    down_counts: float
    up_counts: float
    speed_mm_per_s: float


def free_press(
    trace: RawTrace, calibration: Calibration, *, skew_taken_out: bool = True, settings: PlaceSettings | None = None
) -> FreePress:
    """Return a press without its zero. skew_taken_out: False leaves the force at its tick, to find the skew itself.

    Raises TooFewReadings if there is no air before and after.
    """
    knobs = settings or PlaceSettings()
    time_s = (trace.tick_us - trace.tick_us[:1]).astype(np.float64) * 1e-6
    force = force_newton(trace.force_counts, calibration)
    before, after = time_s <= knobs.air_s, time_s >= time_s[-1] - knobs.air_s
    if time_s[-1] < 3.0 * knobs.air_s or before.sum() < 2 or after.sum() < 2:
        raise TooFewReadings("a press is too short to have air before and after it; press again, from air to air")
    zero = np.interp(
        time_s,
        [time_s[before].mean(), time_s[after].mean()],
        [float(np.median(force[before])), float(np.median(force[after]))],
    )
    late_s = delay_us(calibration) * 1e-6
    free = force - zero
    if skew_taken_out and late_s:
        free = np.interp(time_s, time_s - late_s, free)
    place = displacement_mm(trace.displacement_counts, calibration)
    return FreePress(
        time_s, free, trace.displacement_counts.astype(np.float64), place, int(np.argmax(free)) if len(free) else 0
    )


def place_both_ways(press: FreePress, settings: PlaceSettings | None = None) -> PlaceBothWays:
    """Return the place at the force of the settings. Raises TooFewReadings if it was not passed slowly both ways."""
    knobs = settings or PlaceSettings()
    near = np.abs(press.force_newton - knobs.at_newton) <= knobs.window_newton
    down = np.arange(len(press.time_s)) <= press.turn
    places, speeds = [], []
    for way in (near & down & _on_new_ground(press), near & ~down & _on_new_ground(press)):
        if way.sum() < FEWEST_SAMPLES:
            raise TooFewReadings(
                f"{way.sum()} samples near {knobs.at_newton:g} N on one way of a press; press slower, and further"
            )
        off = press.force_newton[way] - knobs.at_newton
        # centred on its mean, or the squares of places of some thousand counts would lose digits
        middle = float(press.displacement_counts[way].mean())
        places.append(middle + float(np.polyfit(off, press.displacement_counts[way] - middle, 2)[-1]))
        speeds.append(abs(float(np.polyfit(press.time_s[way], press.displacement_mm[way], 1)[0])))
    return PlaceBothWays(places[0], places[1], max(speeds))


NOISE_SIGMAS = 4.0
"""By so much a force may seem to be less than the largest so far though the hand has not stepped back."""
LOOK_S, STEADY_SHARE = 0.010, 0.5
"""So long before and after a sample its speed is looked at, and as much of the way's usual speed it must have."""


def _on_new_ground(press: FreePress) -> BoolArray:
    """Tell for each sample whether the force has not been beyond it on this way, (N,)."""
    allowed, force = NOISE_SIGMAS * noise_sigma(press.force_newton), press.force_newton
    new = np.empty(len(force), bool)
    there, back = slice(None, press.turn + 1), slice(press.turn + 1, None)
    new[there] = force[there] >= np.maximum.accumulate(force[there]) - allowed
    new[back] = force[back] <= np.minimum.accumulate(force[back]) + allowed
    return new


def moves_steadily(press: FreePress) -> BoolArray:
    """Tell for each sample whether the gauge is being driven on, at half of the way's usual speed at least, (N,)."""
    later, earlier = (np.interp(press.time_s + dt, press.time_s, press.displacement_mm) for dt in (LOOK_S, -LOOK_S))
    speed = (later - earlier) / (2.0 * LOOK_S)
    turn, steady = int(np.argmax(press.displacement_mm)), np.zeros(len(speed), bool)
    for way, sign in ((slice(None, turn + 1), 1.0), (slice(turn + 1, None), -1.0)):
        moving = np.abs(speed[way])
        usual = float(np.median(moving[moving > 0.2 * moving.max()])) if len(moving) else 0.0
        steady[way] = sign * speed[way] >= STEADY_SHARE * usual
    return steady
