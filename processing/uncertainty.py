"""How sure a number is by its own evidence: from repeated strokes, and from the curve's own noise.

How it works: the mean curve's noise is drawn anew and the number is read again. That tells how it scatters, and how
far it leans where an extreme is picked. What the strokes do not share is noise, whatever it comes from (the cell, a
hand's tremor, friction that is not even), so copies are made of it: the strokes' deviations from their mean, moved
along the way by chance. They keep the waves that such noise has, and what is unlike at one place is known from all.
The scatter of the number over single strokes counts where it is more than that noise accounts for: another part, not
the same one twice. The place of a top is another matter: a noisy curve has it where its own noise happens to stand
highest, and as much noise again seldom beats that. So its noise is laid on the curve smoothed once more, whose top
chance has not made; that top is a little rounder than the true one, and what it shows errs on the safe side.
Sources: GUM (JCGM 100:2008) 4.2, H.5 (what strokes differ by beyond the noise within them); JCGM 101:2008; blocks of a
series drawn anew: H. Kuensch, Ann. Statist. 17:1217 (1989), and the lean of a number that way: B. Efron and R.
Tibshirani, An Introduction to the Bootstrap (1993), ch. 10 (both from memory); pairs of opposite sign cancel the noise
of the lean: J. Hammersley and K. Morton, Proc. Camb. Phil. Soc. 52:449 (1956; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import ceil, copysign, sqrt

import numpy as np
from scipy.ndimage import uniform_filter1d

from processing.budget.lines import Line
from processing.budget.sources import NOISE, STROKES
from processing.kernel import equivalent_kernel
from processing.selection import mean, variance
from processing.settings import UncertaintySettings
from processing.stages import BoolArray, Curve, FloatArray
from processing.straight import extreme_mm

PLAIN_FROM_MM, PLAIN_TO_NEWTON = 1.0, 1.0
"""Deviations of strokes are taken between break-away and key bed: in the steep bed they tell of place, not of force."""
SIZE_OVER_MM = 2.0
"""Over so much way the size of the deviations is averaged: by hand the end of a stroke is less even than its middle."""
SHORTEST_PLAIN_MM = 1.0
"""From less than this no deviations are taken; the scatter of the samples must do."""


def strokes_line(values: list[float], unit: str, *, known_u: float = 0.0) -> Line | None:
    """Return what the mean of single-stroke values is unsure by, s / sqrt(n), beyond what is known of it already.

    known_u: what the lines that differ from stroke to stroke give the mean. None if there are fewer than two values.
    """
    if len(values) < 2:
        return None
    squared = variance(np.array(values)) / len(values) - known_u**2
    return Line(name=STROKES, kind="A", distribution="t", u=sqrt(max(squared, 0.0)), unit=unit, dof=len(values) - 1.0)


def noise_line(values: list[float], unit: str, *, at_least: float = 0.0) -> Line:
    """Return how a number scatters by noise. values: of copies with the noise drawn anew, in pairs of opposite sign.

    at_least: what is known of it from elsewhere, in the unit.
    """
    u = max(at_least, sqrt(variance(np.array(values)))) if len(values) >= 2 else at_least
    return Line(name=NOISE, kind="A", distribution="t", u=u, unit=unit, dof=max(1.0, len(values) / 2.0))


def top_scatter_mm(curve: Curve, smoother: Curve, noisy: Iterable[Curve], *, from_mm: float, to_mm: float) -> float:
    """Return how far noise moves the place of the top between two places, mm.

    smoother: the curve smoothed once more; noisy: copies of the curve with the noise drawn anew, on the same grid.
    """
    first, last = round(from_mm / curve.step_mm), round(to_mm / curve.step_mm) + 1
    rounder = smoother.down_newton[first:last] - curve.down_newton[first:last]
    forces = [copy.down_newton[first:last] + rounder for copy in noisy]
    tops = [extreme_mm(force, int(np.argmax(force)), curve.step_mm) for force in forces]
    return sqrt(variance(np.array(tops))) if len(tops) >= 2 else 0.0


def lean_of(values: list[float], value: float) -> float:
    """Return how far a number leans when its noise is drawn anew, less what so few draws make by chance.

    values: of copies, in pairs of opposite sign; value: of the curve as it is.
    """
    count = len(values) // 2
    if count < 2:
        return 0.0
    drawn = np.array(values)
    pairs = (drawn[: 2 * count : 2] + drawn[1 : 2 * count : 2]) / 2.0 - value
    lean = mean(pairs)
    by_chance = variance(pairs) / count
    return copysign(sqrt(max(lean**2 - by_chance, 0.0)), lean)


def noisy_copies(curve: Curve, strokes: tuple[Curve, ...], settings: UncertaintySettings) -> Iterator[Curve]:
    """Yield the curve with its noise drawn anew, each time with either sign; seeded, so always the same.

    strokes: the curves whose mean it is. With one stroke alone the scatter of its samples is the noise.
    """
    random = np.random.default_rng(settings.seed)
    plain = _plain(curve)
    down = _deviations([stroke.down_newton for stroke in strokes], plain, curve)
    up = _deviations([stroke.up_newton for stroke in strokes if stroke.up_newton is not None], plain, curve)
    for _ in range(settings.noise_draws // 2):
        down_noise = _noise(random, down, curve.down_u_newton, curve)
        up_noise = np.zeros(0) if curve.up_u_newton is None else _noise(random, up, curve.up_u_newton, curve)
        for sign in (1.0, -1.0):
            yield replace(
                curve,
                down_newton=curve.down_newton + sign * down_noise,
                up_newton=None if curve.up_newton is None else curve.up_newton + sign * up_noise,
            )


def _plain(curve: Curve) -> BoolArray:
    """Return which points lie behind break-away and before the key bed, in one piece."""
    plain = curve.way_mm >= PLAIN_FROM_MM
    bed = np.flatnonzero(plain & (curve.down_newton > PLAIN_TO_NEWTON))
    if len(bed):
        plain[bed[0] :] = False
    return plain


@dataclass(frozen=True, slots=True, eq=False)
class _Deviations:
    """What strokes do not share: of unit size, there and back without a jump again and again; and its size, (G,)."""

    endless: FloatArray
    """A row a stroke, so long that G points can be had from any place of the first period on."""
    period: int
    size_newton: FloatArray


def _deviations(forces: list[FloatArray], plain: BoolArray, curve: Curve) -> _Deviations | None:
    """Return how strokes deviate from their mean on the plain part, scaled to the noise of that mean.

    Each stroke's own level is taken out: it is the zero's, which has a line of its own. None: too few or too short.
    """
    count, points = len(forces), int(np.count_nonzero(plain))
    if count < 2 or points * curve.step_mm < SHORTEST_PLAIN_MM:
        return None
    off = np.array(forces)[:, plain]
    off = off - off.mean(axis=0)
    off -= off.mean(axis=1, keepdims=True)
    off /= np.sqrt(count * (count - 1.0))
    size = np.sqrt(uniform_filter1d(np.sum(off**2, axis=0), round(SIZE_OVER_MM / curve.step_mm), mode="nearest"))
    size = np.maximum(size, np.finfo(np.float64).tiny)
    everywhere = np.interp(curve.way_mm, curve.way_mm[plain], size)
    unit = off / size
    there_and_back = np.concatenate([unit, unit[:, ::-1]], axis=1)
    period = there_and_back.shape[1]
    return _Deviations(np.tile(there_and_back, ceil(len(everywhere) / period) + 1), period, everywhere)


def _noise(random: np.random.Generator, off: _Deviations | None, u_newton: FloatArray, curve: Curve) -> FloatArray:
    """Return noise for the whole curve: deviations from a random place on, as large as they are here; or white noise
    as smooth as the kernel makes it, where there are no deviations."""
    count = len(curve.way_mm)
    if off is None:
        kernel = equivalent_kernel(curve)
        kernel = kernel / np.sqrt(np.sum(kernel**2))
        white: FloatArray = np.convolve(random.standard_normal(count + len(kernel) - 1), kernel, mode="valid")
        return u_newton * white
    starts = random.integers(off.period, size=len(off.endless))
    noise = np.zeros(count)
    for row, start in zip(off.endless, starts.tolist(), strict=True):
        noise += row[start : start + count]
    noise *= off.size_newton
    return noise
