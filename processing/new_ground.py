"""Which samples of a stroke count: those where the plunger breaks new ground, and slides.

How it works: a sample counts if the plunger is where it has not been on this way, and after a step back only some
hundredths of a millimetre beyond the old place, since friction gives way before anything slides and needs way to come
back. A step back is seen on the way averaged over a few samples, for a micrometre back already eases friction. Where
the plunger lingers it counts for nothing either: the friction is between standing and sliding there.
Source: presliding of bristles, Canudas de Wit et al., IEEE Trans. Automatic Control 40:419 (1995).
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from processing.selection import median
from processing.settings import StrokeSettings
from processing.stages import BoolArray, Branch, CalibratedTrace, FloatArray

NOISE_SIGMAS, ROUNDING_STEPS = 4.0, 1.5
"""By so much a sample may seem to lie behind the furthest place though the plunger has not gone back."""
STEADY_S = 0.011
"""A tenth of the period of a hand's tremor: long enough to quiet the gauge, short enough to follow the hand."""
SLIDES_SHARE = 0.2
"""Of a stroke's typical speed: where a hand lingers, the friction is between standing and sliding, and many samples at
one place would outweigh those around it."""
BED_CARRIES_NEWTON = 1.0
"""No plain key takes so much before its bed. Deeper, friction is a small part, and the stroke may end before a fixed
way is regained; there as much way as was gone back must do."""
STRICTER = 1.5
"""By so much more way is regained to see what friction is still missing (`budget/otherwise_lines.py`)."""


def to_branch(
    trace: CalibratedTrace,
    way: FloatArray,
    force: FloatArray,
    part: slice,
    settings: StrokeSettings,
    *,
    downward: bool,
) -> tuple[Branch, Branch]:
    """Return the samples of one way that break new ground from touch on, and those that do by the STRICTER measure.

    The two are one and the same where the plunger never went back. Whether it does is seen on its way averaged over
    STEADY_S: a micrometre back already eases friction.
    """
    here = way[part]
    onward, count = _steady(here if downward else -here, trace.time_s[part])
    furthest = np.maximum.accumulate(onward)
    ahead = furthest - onward <= _behind_mm(trace, settings) / np.sqrt(count)
    in_the_bed = force[part] > BED_CARRIES_NEWTON

    def branch(new: BoolArray) -> Branch:
        return Branch(trace.time_s[part][new], here[new], force[part][new])

    went_back = not ahead.all()
    new = here >= 0.0
    stricter = new
    if went_back:
        new, stricter = (
            new & ahead & _regained(onward, furthest, ahead, in_the_bed, times * settings.new_ground_mm)
            for times in (1.0, STRICTER)
        )
    plain = branch(new)
    slides = in_the_bed | _slides(onward, trace, part, plain.speed_mm_per_s)
    if not len(plain.way_mm) or not slides[new].all():
        plain = branch(_counted(new, slides, onward))
    return plain, branch(_counted(stricter, slides, onward)) if went_back else plain


def _regained(
    onward: FloatArray, furthest: FloatArray, ahead: BoolArray, in_the_bed: BoolArray, way_mm: float
) -> BoolArray:
    """Tell for each sample whether, after every step back before it, so much way beyond the old place was regained."""
    regains_mm = np.where(in_the_bed, np.minimum(furthest - onward, way_mm), way_mm)
    regained: BoolArray = onward >= np.maximum.accumulate(np.where(ahead, -np.inf, furthest + regains_mm))
    return regained


def _counted(new: BoolArray, slides: BoolArray, onward: FloatArray) -> BoolArray:
    """Return which samples count: those on new ground that slide, those on new ground if none does, one at least."""
    counted = new & slides if (new & slides).any() else new.copy()
    counted[np.argmax(onward)] |= not counted.any()  # a way has an end, however strange the rest
    return counted


def _slides(onward: FloatArray, trace: CalibratedTrace, part: slice, typical_mm_per_s: float) -> BoolArray:
    """Tell for each sample whether the plunger moves on at no less than a share of the stroke's typical speed.

    The speed is that over a time in which a stroke goes a few steps of the gauge, be it fine or coarse.
    """
    if typical_mm_per_s <= 0.0:
        return np.ones(len(onward), np.bool_)
    time_s = trace.time_s[part]
    unsure_mm = max(NOISE_SIGMAS * trace.displacement_noise_mm, ROUNDING_STEPS * trace.displacement_step_mm)
    half_s = max(STEADY_S, 2.0 * unsure_mm / (SLIDES_SHARE * typical_mm_per_s)) / 2.0
    later, sooner = np.minimum(time_s + half_s, time_s[-1]), np.maximum(time_s - half_s, time_s[0])
    passed_mm = np.interp(later, time_s, onward) - np.interp(sooner, time_s, onward)
    slides: BoolArray = passed_mm >= SLIDES_SHARE * typical_mm_per_s * (later - sooner)
    return slides


def _steady(onward: FloatArray, time_s: FloatArray) -> tuple[FloatArray, int]:
    """Return a way averaged over STEADY_S, and over how many samples that is."""
    period_s = median(np.diff(time_s)) if len(time_s) > 1 else STEADY_S
    count = min(max(int(STEADY_S / period_s), 1), len(onward)) if period_s > 0.0 else 1
    count -= 1 - count % 2
    return uniform_filter1d(onward, count, mode="nearest"), count


def _behind_mm(trace: CalibratedTrace, settings: StrokeSettings) -> float:
    """Return how far behind the furthest place a sample may lie: the gauge's noise and rounding, no real way back.

    On a real way back, however short, the friction gives way before anything slides.
    """
    unsure_mm = max(NOISE_SIGMAS * trace.displacement_noise_mm, ROUNDING_STEPS * trace.displacement_step_mm)
    return min(settings.new_ground_mm, unsure_mm)
