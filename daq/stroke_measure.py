"""One stroke pressed by hand, measured: where it starts, touches, turns and ends, how fast and how evenly.

How it works: speed is read on new ground only: the first time a place is passed, going down or coming up. So a tremor
shifts a passage by a little, and a pause or a step back takes its time once. Force is brought back to its time and
set to zero in the air, way is freed of the rig's own give, as in `processing/`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.force_zero import LOWER_NEWTON
from daq.stroke_bins import BIN_US
from daq.verdict import JudgeSettings
from recordings.types import Calibration

FloatArray = NDArray[np.float64]

LEAST_SPEED_BINS = 4
BEFORE_BINS = 20
"""0.2 s before the start tell whether the plunger was loaded."""
TOP_MM = 0.05
SHORTEST_S = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class StrokeWindow:
    """What is needed to measure one stroke. Arrays (N,): bins from some way before it to its end."""

    time_s: FloatArray
    displacement_mm: FloatArray
    force_newton: FloatArray
    """Zero not taken off."""
    contact: int
    """A bin shortly after touch."""
    zero_newton: float
    home_mm: float | None
    """Displacement at which this key is known to be at home; None: the plunger came from the air."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeNumbers:
    """One stroke in numbers; places in mm of displacement, indices into its window."""

    start: int
    start_newton: float
    """Median of 0.2 s before the start."""
    below_home_mm: float
    """How far the start lies under the known home; 0 from the air."""
    depth_mm: float
    peak_newton: float
    left_over_mm: float
    """How far from home the plunger stayed at the end; negative: above."""
    down_mm_per_s: float
    up_mm_per_s: float | None
    unevenness: float | None
    reversal_mm: float


def measure_stroke(window: StrokeWindow, settings: JudgeSettings, calibration: Calibration) -> StrokeNumbers | None:
    """Return a stroke's numbers; None if it is only a touch: less than least_way_mm."""
    force = _in_time(window, calibration.force_delay_us * 1e-6)
    way = window.displacement_mm - calibration.compliance_mm_per_newton * np.maximum(force, 0.0)
    start = _set_out(way, window.contact, settings)
    start_newton = float(np.median(force[max(0, start - BEFORE_BINS) : start + 1]))
    home = np.inf if window.home_mm is None else window.home_mm
    touch, touch_mm = start, float(way[start])
    if start_newton <= settings.touch_newton:
        touch, touch_mm = _touch(way, force, start, window.contact, settings)
    turn = touch + int(np.argmax(way[touch:]))
    depth_mm = float(way[turn]) - touch_mm
    if depth_mm < settings.least_way_mm:
        return None
    down = _one_way(window.time_s[touch : turn + 1], way[touch : turn + 1] - touch_mm, depth_mm, settings)
    up = _up(window.time_s[turn:], way[turn:], touch_mm, settings)
    dipped_mm = 0.9 * depth_mm - float(way[touch + down.until : turn + up.since + 1].min() - touch_mm) if up else 0.0
    return StrokeNumbers(
        start=start,
        start_newton=start_newton,
        below_home_mm=max(0.0, float(way[start]) - home),
        depth_mm=depth_mm,
        peak_newton=float(force[touch:].max()),
        left_over_mm=float(way[turn:].min()) - min(touch_mm, home),
        down_mm_per_s=down.mm_per_s,
        up_mm_per_s=up.mm_per_s if up else None,
        unevenness=_larger(down.unevenness, up.unevenness if up else None),
        reversal_mm=max(down.reversal_mm, up.reversal_mm if up else 0.0, dipped_mm),
    )


def _in_time(window: StrokeWindow, delay_s: float) -> FloatArray:
    """Return the force of each moment, in N, free of its zero: a key never pulls, so the zero lies no higher."""
    shown = np.interp(window.time_s, window.time_s - delay_s, window.force_newton)
    five = np.convolve(window.force_newton, np.full(5, 0.2), mode="valid")
    lowest = float(five.min()) if len(window.force_newton) >= 5 else window.zero_newton
    zero = lowest if lowest < window.zero_newton - LOWER_NEWTON else window.zero_newton
    force: FloatArray = shown - zero
    return force


def _set_out(way: FloatArray, contact: int, settings: JudgeSettings) -> int:
    """Return where the plunger set out: it last stood still, or it turned round at the top."""
    on_its_way = contact + int(np.argmax(way[contact:] >= way[contact] + settings.largest_reversal_mm))
    back = way[on_its_way::-1]
    lowest = np.minimum.accumulate(back)
    came_back = np.flatnonzero(back > lowest + settings.still_mm)
    back = back[: came_back[0]] if len(came_back) else back
    top = on_its_way - int(np.argmax(back <= back.min() + TOP_MM))
    return max(top, _last_still(way[: on_its_way + 1], settings))


def _last_still(way: FloatArray, settings: JudgeSettings) -> int:
    """Return the last index at the end of a rest, 0 if there is none."""
    count = round(settings.still_s * 1e6 / BIN_US)
    if len(way) < count:
        return 0
    seen = np.lib.stride_tricks.sliding_window_view(way, count)
    still = np.flatnonzero(seen.max(axis=1) - seen.min(axis=1) <= settings.still_mm)
    return int(still[-1]) + count - 1 if len(still) else 0


def _touch(way: FloatArray, force: FloatArray, start: int, contact: int, settings: JudgeSettings) -> tuple[int, float]:
    """Return index and place of touch: the force rises through touch_newton and stays above for touch_stays_mm."""
    deeper = np.flatnonzero(way[contact:] >= way[contact] + settings.touch_stays_mm)
    stop = contact + int(deeper[0]) if len(deeper) else len(way) - 1
    below = np.flatnonzero(force[start : stop + 1] < settings.touch_newton)
    last = start + int(below[-1]) if len(below) else start
    if last + 1 >= len(way) or force[last + 1] <= force[last]:
        return last, float(way[last])
    share = (settings.touch_newton - force[last]) / (force[last + 1] - force[last])
    return last, float(way[last] + min(max(share, 0.0), 1.0) * (way[last + 1] - way[last]))


@dataclass(frozen=True, slots=True)
class _OneWay:
    mm_per_s: float
    unevenness: float | None
    reversal_mm: float
    since: int
    """First bin of the part that was looked at, in the arrays given."""
    until: int


def _one_way(time_s: FloatArray, gone_mm: FloatArray, way_mm: float, settings: JudgeSettings) -> _OneWay:
    """Measure a way of way_mm from 10 to 90 %. gone_mm: how far it has gone, (N,), N >= 2, from about 0."""
    first, last = _passed_s(time_s, gone_mm, np.array([0.1, 0.9]) * way_mm)
    until = int(np.argmax(gone_mm >= 0.9 * way_mm))
    stretch = gone_mm[: until + 1]
    reversal_mm = float((np.maximum.accumulate(stretch) - stretch).max())
    edges_mm = np.arange(0.1 * way_mm, 0.9 * way_mm + 1e-9, settings.speed_bin_mm)
    unevenness = None
    if len(edges_mm) > LEAST_SPEED_BINS:
        took_s = np.maximum(np.diff(_passed_s(time_s, gone_mm, edges_mm)), SHORTEST_S)
        unevenness = float(np.std(np.log(took_s), ddof=1))
    return _OneWay(0.8 * way_mm / max(float(last - first), SHORTEST_S), unevenness, reversal_mm, 0, until)


def _up(time_s: FloatArray, way: FloatArray, touch_mm: float, settings: JudgeSettings) -> _OneWay | None:
    """Measure the way up to home, or to where it ended; None if it did not come up. way[0] is the deepest place."""
    deepest = float(way[0])
    floor_mm = max(float(way.min()), touch_mm)
    way_mm = deepest - floor_mm
    if way_mm < settings.least_way_mm:
        return None
    ended = int(np.argmax(way <= floor_mm))
    since = int(np.flatnonzero(way[: ended + 1] >= deepest - 0.1 * way_mm)[-1])
    leaving = slice(since, ended + 1)
    up = _one_way(time_s[leaving], deepest - way[leaving], way_mm, settings)
    return _OneWay(up.mm_per_s, up.unevenness, up.reversal_mm, since, since + up.until)


def _passed_s(time_s: FloatArray, gone_mm: FloatArray, places_mm: FloatArray) -> FloatArray:
    """Return when each place was passed for the first time, linear between bins. places_mm rises, (M,)."""
    after = np.searchsorted(np.maximum.accumulate(gone_mm), places_mm)
    after = np.clip(after, 1, len(gone_mm) - 1)
    step = gone_mm[after] - gone_mm[after - 1]
    share = np.divide(places_mm - gone_mm[after - 1], step, out=np.zeros(len(after)), where=step > 0.0)
    passed: FloatArray = time_s[after - 1] + np.clip(share, 0.0, 1.0) * (time_s[after] - time_s[after - 1])
    return passed


def _larger(one: float | None, other: float | None) -> float | None:
    known = [value for value in (one, other) if value is not None]
    return max(known) if known else None
