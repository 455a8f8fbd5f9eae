"""How the velocity of a note answers to the speed of the key: a monotone law through the strokes of a ladder.

How it works: a stroke's speed is the mean over the last 1.0 mm before the note's place. Over rising speeds velocities
are fitted by the nearest law that never falls (isotonic regression); strokes at one speed are one point of it. Between
points the law is drawn straight over the logarithm of the speed, and a velocity is read off backwards where it is first
reached. How sure that is comes from drawing the velocities anew (JCGM 101): by their pooled scatter and, as they are
whole numbers, by half a step of rounding. How a law bends between two speeds is not known: drawn straight over the
speed itself it passes elsewhere, and that difference is taken as a bound; over a wide step a law that rises may do so
anywhere, and all of the step is the bound.
Sources: isotonic regression by scipy.optimize.isotonic_regression (pool adjacent violators; Robertson, Wright &
Dykstra, Order Restricted Statistical Inference, 1988); pooled standard deviation: GUM (JCGM 100:2008) H.3.6; of a
standard deviation s with f degrees of freedom u = s / sqrt(2 f): GUM E.4.3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import isotonic_regression

from processing.dynamics.presses import Press
from processing.dynamics.zero_speed import same_speed
from processing.settings import DynamicSettings
from processing.stages import FloatArray

SPEED_OVER_MM = 1.0
"""measurands.md: speed_at_trigger."""
DRAWS = 200
ROUNDING_U = 12.0**-0.5
"""Of a whole number: rectangular, half a step either way."""


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """Strokes and the law through them; arrays (S,) over strokes, (G,) over speeds, slowest first."""

    speed_mm_per_s: FloatArray
    velocity: FloatArray
    law_mm_per_s: FloatArray
    law_velocity: FloatArray
    counts: FloatArray
    """Strokes at each speed, (G,)."""
    scatter: float | None
    """Pooled standard deviation of the velocity at one speed; None: no two strokes were at one speed."""
    scatter_dof: int
    rounding_u: float

    def point_u(self) -> FloatArray:
        """Return the standard uncertainty of each speed's mean velocity, (G,)."""
        u: FloatArray = np.sqrt(((self.scatter or 0.0) ** 2) / self.counts + self.rounding_u**2)
        return u


@dataclass(frozen=True, slots=True)
class SpeedFor:
    """The speed that gives a velocity, mm/s, what scatter makes of it, and a bound for how the law may bend."""

    mm_per_s: float
    u_mm_per_s: float
    bend_bound_mm_per_s: float


def response_of(presses: list[Press], trigger_mm: float, settings: DynamicSettings) -> Response | None:
    """Return the law, None if fewer than two speeds told a velocity. trigger_mm: the note's place at zero speed."""
    told = [
        (speed, press.note.velocity)
        for press in presses
        if press.note is not None and press.note.velocity is not None
        if (speed := speed_before(press, trigger_mm, settings.following_newton)) is not None
    ]
    if len(told) < 2:
        return None
    told.sort()
    return law_of(np.array([speed for speed, _ in told]), np.array([velocity for _, velocity in told]), settings)


def law_of(speed: FloatArray, velocity: FloatArray, settings: DynamicSettings) -> Response | None:
    """Return the law through strokes, given their speeds (mm/s, rising) and velocities; None if of one speed only."""
    groups = same_speed(speed, settings.same_speed_share)
    if len(groups) < 2 or speed[-1] < settings.least_speed_ratio * speed[0]:
        return None
    counts = np.array([float(len(group)) for group in groups])
    speeds, means = (np.array([values[group].mean() for group in groups]) for values in (speed, velocity))
    free = int(counts.sum()) - len(groups)
    squares = sum(float(np.sum((velocity[group] - velocity[group].mean()) ** 2)) for group in groups)
    whole = bool(np.all(velocity == np.rint(velocity)))
    return Response(
        speed,
        velocity,
        speeds,
        isotonic_regression(means, weights=counts).x,
        counts,
        float(np.sqrt(squares / free)) if free else None,
        free,
        ROUNDING_U if whole else 0.0,
    )


def speed_before(press: Press, trigger_mm: float, following_newton: float) -> float | None:
    """Return the mean speed over the last 1.0 mm before a place, mm/s; None where the key had left the plunger there or
    the way was not recorded."""
    way, time_s = press.down.way_mm, press.down.time_s
    reached = np.flatnonzero(way >= trigger_mm)
    before = np.flatnonzero(way <= trigger_mm - SPEED_OVER_MM)
    if not len(reached) or not len(before):
        return None
    until = int(reached[0])
    since = int(before[before < until][-1]) if (before < until).any() else until
    on_the_way = slice(since, until + 1)
    if until == since or press.down.force_newton[on_the_way].min() < following_newton:
        return None
    began_s, ended_s = (
        float(np.interp(place, way[pair], time_s[pair]))
        for place, pair in (
            (trigger_mm - SPEED_OVER_MM, slice(since, since + 2)),
            (trigger_mm, slice(until - 1, until + 1)),
        )
    )
    return SPEED_OVER_MM / (ended_s - began_s) if ended_s > began_s else None


def speed_for(velocity: float, response: Response, *, seed: int, widest_step: float) -> SpeedFor | None:
    """Return the speed at which the law first reaches a velocity; None where it lies outside of what was reached.

    widest_step: faster over slower of two neighbouring speeds; over a wider one only the two themselves are bounds.
    """
    speeds, law = response.law_mm_per_s, response.law_velocity
    value = _first_reached(velocity, speeds, law)
    if value is None:
        return None
    random = np.random.default_rng(seed)
    drawn = law + response.point_u() * random.standard_normal((DRAWS, len(law)))
    read = [
        speed
        for points in drawn
        if (speed := _first_reached(velocity, speeds, isotonic_regression(points, weights=response.counts).x))
        is not None
    ]
    u = float(np.std(read, ddof=1)) if len(read) > DRAWS // 2 else value / 2.0
    bend_mm_per_s = abs(value - (_first_reached_evenly(velocity, speeds, law) or value))
    after = int(np.searchsorted(speeds, value))
    slower, faster = float(speeds[max(after - 1, 0)]), float(speeds[min(after, len(speeds) - 1)])
    if faster > widest_step * slower:
        bend_mm_per_s = max(faster - value, value - slower)
    return SpeedFor(value, u, bend_mm_per_s)


def _first_reached(velocity: float, speeds: FloatArray, law: FloatArray) -> float | None:
    """Return the speed, straight over its logarithm; None outside of what was reached."""
    at = _first_reached_evenly(velocity, np.log(speeds), law)
    return None if at is None else float(np.exp(at))


def _first_reached_evenly(velocity: float, places: FloatArray, law: FloatArray) -> float | None:
    if not law[0] <= velocity <= law[-1]:
        return None
    after = int(np.argmax(law >= velocity))
    if after == 0:
        return float(places[0])
    share = (velocity - law[after - 1]) / (law[after] - law[after - 1])
    return float(places[after - 1] + share * (places[after] - places[after - 1]))
