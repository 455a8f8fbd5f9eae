"""Where the presses of a trace begin, turn and end.

How it works: a press is a passage of the displacement above 60 % of its range and back below 40 % (two thresholds, so
that trembling does not count twice). From there each press is followed back to where the plunger set out: the last
place in the air from which it went down without going back more than `reversal_mm`; so a short approach that only
touches the key does not belong to it. The way up is followed in the same manner.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from processing.errors import NoStroke
from processing.selection import median, quantile
from processing.settings import StrokeSettings
from processing.stages import CalibratedTrace, FloatArray

SHORTEST_PRESS_MM, LONGEST_PRESS_MM = 2.0, 100.0
HIGH, LOW = 0.6, 0.4
AT_REST_MM = 0.05
HAIR_MM = 0.002


@dataclass(frozen=True, slots=True)
class Span:
    """One press by indices into its trace: what is before it, start, turn down, turn up, end."""

    before: int
    start: int
    turn: int
    lift: int
    """The plunger leaves the turn; between `turn` and `lift` it stood at the bottom."""
    end: int
    after: int


def split_presses(trace: CalibratedTrace, settings: StrokeSettings) -> tuple[Span, ...]:
    """Return the presses of a trace, oldest first. Raises NoStroke if there is none."""
    way, force = trace.displacement_mm, trace.force_newton
    if len(way) < 10:
        raise NoStroke(f"the trace has {len(way)} samples; nothing was pressed")
    lowest, highest = quantile(way, 0.002), quantile(way, 0.998)
    if highest - lowest < SHORTEST_PRESS_MM:
        raise NoStroke(f"the plunger moved {highest - lowest:.2f} mm; a press is at least {SHORTEST_PRESS_MM:g} mm")
    if highest - lowest > LONGEST_PRESS_MM:
        raise NoStroke(f"the plunger moved {highest - lowest:.0f} mm; is the unit of displacement right?")
    pressed, free = (
        force[way > lowest + 0.9 * (highest - lowest)],
        force[way < lowest + 0.1 * (highest - lowest)],
    )
    if median(pressed) < median(free):
        raise NoStroke("the force falls where the displacement grows; both must be positive when the key goes down")
    passages = _passages(way, lowest + LOW * (highest - lowest), lowest + HIGH * (highest - lowest))
    if not passages:
        raise NoStroke("the displacement never goes down and stays: is downward positive?")
    edges = _edges_between(way, passages)
    air_newton = quantile(force, 0.02) + settings.level_differs_newton
    return tuple(
        _span(way, force, before, passage, after, air_newton, settings)
        for before, passage, after in zip(edges[:-1], passages, edges[1:], strict=True)
    )


def alone(trace: CalibratedTrace, span: Span) -> tuple[CalibratedTrace, Span]:
    """Return the part of a trace that belongs to one press, and where the press lies in it."""
    part, first = slice(span.before, span.after + 1), span.before
    trace_alone = replace(
        trace,
        time_s=trace.time_s[part],
        displacement_mm=trace.displacement_mm[part],
        force_newton=trace.force_newton[part],
    )
    shifted = Span(*(getattr(span, name) - first for name in Span.__slots__))
    return trace_alone, shifted


def _passages(way: FloatArray, low: float, high: float) -> list[tuple[int, int]]:
    """Return (first index above high, first index below low afterwards or the end) of each press."""
    is_high = way >= high
    known = np.flatnonzero(is_high | (way <= low))
    deep = is_high[known]
    changes = known[np.flatnonzero(deep[1:] != deep[:-1]) + 1].tolist()
    downs = [change for change in changes if is_high[change]]
    ups = [change for change in changes if not is_high[change]]
    passages = []
    for down in downs:
        later = [up for up in ups if up > down]
        passages.append((down, later[0] if later else len(way) - 1))
    return passages


def _edges_between(way: FloatArray, passages: list[tuple[int, int]]) -> list[int]:
    """Return where one press ends and the next begins: in the middle of the rest at the top between them."""
    edges = [0]
    for (_, up), (down, _) in pairwise(passages):
        between = way[up:down]
        at_top = np.flatnonzero(between <= between.min() + AT_REST_MM)
        edges.append(up + int(at_top[len(at_top) // 2]))
    return [*edges, len(way) - 1]


def _span(
    way: FloatArray,
    force: FloatArray,
    before: int,
    passage: tuple[int, int],
    after: int,
    air_newton: float,
    settings: StrokeSettings,
) -> Span:
    down, up = passage
    deepest = float(way[down : up + 1].max())
    at_bottom = down + np.flatnonzero(way[down : up + 1] >= deepest - HAIR_MM)
    turn, lift = int(at_bottom[0]), int(at_bottom[-1])
    start = down - _set_out(way[before : down + 1][::-1], force[before : down + 1][::-1], air_newton, settings)
    end = up + _set_out(way[up : after + 1], force[up : after + 1], air_newton, settings)
    return Span(before, start, turn, lift, end, after)


def _set_out(way: FloatArray, force: FloatArray, air_newton: float, settings: StrokeSettings) -> int:
    """Return how many samples from the first to the top of the way, seen from the press outward.

    The top is the lowest displacement before the plunger comes back by more than reversal_mm while in the air. Air is
    told from a reversal on the key, where friction takes the force down, by lasting: it reaches some way to the key.
    """
    lowest_so_far = np.minimum.accumulate(way)
    came_back = np.flatnonzero(way > lowest_so_far + settings.reversal_mm)
    tops = np.unique(lowest_so_far[came_back])[::-1]
    for lowest in tops:
        index = int(came_back[np.flatnonzero(lowest_so_far[came_back] == lowest)[0]])
        top = int(np.argmin(way[: index + 1]))
        beside = way[: top + 1] <= lowest + settings.air_lasts_mm
        if force[: top + 1][beside].max() <= air_newton:
            return _last_at_top(way[: index + 1])
    return _last_at_top(way)


def _last_at_top(way: FloatArray) -> int:
    """Return the first index, seen from the press, at which the plunger is within a hair of the top."""
    return int(np.flatnonzero(way <= way.min() + HAIR_MM)[0])
