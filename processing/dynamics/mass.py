"""The key's effective mass from strokes of different acceleration: the impulse that brings the key to its speed.

How it works: from rest on the touched key to a moment t later, m v = integral of (F - F_slow(x) - c v - z) dt, with
F_slow the slow curve at the same place, c a drag in proportion to the speed, z what the zero has moved since. Divided
by t that is a straight relation for the mean force beyond the slow curve, F_mean = m (v / t) + c (x / t) + z, solved by
least squares over all fast strokes and many moments. Only the speed at the end is asked for, no acceleration on the
way, so it does not matter that a key which is set in motion hard rings on the rig's own give and may even leave the
plunger for a while; moments count only when it is back on it. Before the let-off the slow curve is nearly flat, so its
place then matters little.
Strokes at one speed err alike, and moments of one stroke too, so the scatter is counted by speeds: each speed is left
out once (jackknife).
Sources: impulse = change of momentum; jackknife: Efron & Stein, Ann. Stat. 9:586 (1981).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from processing.dynamics.presses import Press
from processing.dynamics.zero_speed import same_speed
from processing.settings import DynamicSettings
from processing.stages import Branch, Curve, FloatArray

SETS_OUT_MM_PER_S = 1.0
FROM_MM = 1.0
"""Moments count from here on: break-away and the hardest ringing are over."""
FEWEST_SPEEDS = 3
LEAST_MEAN_M_PER_S2 = 0.25
"""If no stroke had this mean acceleration friction hides the mass: 0.5 gf of it is 0.02 kg at 0.25 m/s2."""
SAMPLES_OFF = 0.5
"""Force and place of one moment may be so many samples apart."""
MM_PER_M = 1000.0


@dataclass(frozen=True, slots=True)
class LadderMass:
    """What the fast strokes say of the mass."""

    kg: float
    u_kg: float
    dof: float
    moment_bound_kg: float
    """Bound for what half a sample between force and place does, while the force of the ramp stands."""
    strokes: int


@dataclass(frozen=True, slots=True, eq=False)
class _Moments:
    """Of one stroke since it set out, arrays (N,): mean force beyond the slow curve (N), v / t (m/s2), x / t (mm/s)."""

    beyond_newton: FloatArray
    m_per_s2: FloatArray
    mm_per_s: FloatArray
    ramp_samples: float
    """How long the ramp took: at an even acceleration 2 (t - x / v)."""


def mass_from_ladder(
    presses: list[Press], slow: Curve, *, until_mm: float, settings: DynamicSettings
) -> LadderMass | None:
    """Return the mass, None where too few strokes are accelerated enough. until_mm: where the plain curve ends."""
    found = (_moments(press.down, slow, until_mm, settings) for press in presses if not press.slow)
    moments = [one for one in found if one is not None]
    if not moments or max(one.m_per_s2.max() for one in moments) < LEAST_MEAN_M_PER_S2:
        return None
    speeds = np.array([np.median(one.mm_per_s) for one in moments])
    groups = [[moments[place] for place in group] for group in same_speed(speeds, 4.0 * settings.same_speed_share)]
    if len(groups) < FEWEST_SPEEDS:
        return None
    kg = _fitted(moments)
    without = np.array([_fitted([one for other in groups if other is not group for one in other]) for group in groups])
    u_kg = float(np.sqrt((len(groups) - 1) / len(groups) * np.sum((without - without.mean()) ** 2)))
    hardest = max(moments, key=lambda one: float(one.m_per_s2.max()))
    bound_kg = abs(kg) * SAMPLES_OFF / max(1.0, hardest.ramp_samples)
    return LadderMass(kg, u_kg, len(groups) - 1.0, bound_kg, len(moments))


def _moments(down: Branch, slow: Curve, until_mm: float, settings: DynamicSettings) -> _Moments | None:
    """Return the moments of one stroke at which the key is on the plunger, None if there are none."""
    period_s = float(np.median(np.diff(down.time_s)))
    even_s = np.arange(down.time_s[0], down.time_s[-1], period_s)  # a wild sample that was left out leaves a hole
    way = np.interp(even_s, down.time_s, down.way_mm)
    force = np.interp(even_s, down.time_s, down.force_newton)
    reach = max(2, round(settings.speed_over_s / 2.0 / period_s))
    if len(way) <= 2 * reach + 1:
        return None
    moves = int(np.argmax(np.gradient(way, period_s) > SETS_OUT_MM_PER_S))
    sets_out = max(0, moves - reach // 2)
    impulse = _averaged(_impulse(force - np.interp(way, slow.way_mm, slow.down_newton), sets_out, period_s), reach)
    away = _averaged((force < settings.following_newton).astype(np.float64), reach)
    middle = slice(reach, len(way) - reach)
    counts = (away == 0.0) & (way[middle] >= FROM_MM) & (way[middle] <= until_mm) & (even_s[middle] > even_s[sets_out])
    if not counts.any():
        return None
    since_s, gone_mm = even_s[middle][counts] - even_s[sets_out], way[middle][counts] - way[sets_out]
    speed = (way[2 * reach :] - way[: -2 * reach])[counts] / (2.0 * reach * period_s)
    return _Moments(
        impulse[counts] / since_s,
        speed / since_s / MM_PER_M,
        gone_mm / since_s,
        float(np.median(2.0 * (since_s - gone_mm / speed))) / period_s,
    )


def _impulse(beyond_newton: FloatArray, sets_out: int, period_s: float) -> FloatArray:
    """Return the integral of a force from a sample on, by the trapezoid rule, N s."""
    force = np.where(np.arange(len(beyond_newton)) >= sets_out, beyond_newton, 0.0)
    return np.concatenate([[0.0], np.cumsum((force[1:] + force[:-1]) / 2.0) * period_s])


def _averaged(values: FloatArray, reach: int) -> FloatArray:
    """Return means over `reach` samples either side, without the ends."""
    width = 2 * reach + 1
    means: FloatArray = sliding_window_view(values, width).mean(axis=1)
    return means


def _fitted(moments: list[_Moments]) -> float:
    """Return the mass by least squares, every stroke counting alike however many its moments."""
    share = np.concatenate([np.full(len(one.m_per_s2), len(one.m_per_s2) ** -0.5) for one in moments])
    bent, speed, beyond = (
        np.concatenate([getattr(one, name) for one in moments]) for name in ("m_per_s2", "mm_per_s", "beyond_newton")
    )
    design = np.column_stack([bent, speed, np.ones(len(bent))])
    return float(np.linalg.lstsq(design * share[:, None], beyond * share, rcond=None)[0][0])
