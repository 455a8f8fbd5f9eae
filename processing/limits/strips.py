"""Strips of the measurands that decide: all keys from bass to treble, with the limits drawn in.

How it works: a measurand is as decisive as its worst decision. An axis holds the limits and the usual keys; a key far
beyond stands at the edge with its value. A ring is a key that fails in this measurand, a diamond one that cannot be
told; a cross is a key that fails, but in something else, so that a bad key is seen in every strip.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from processing.display import Units, measured, rounded
from processing.features.table import FEATURES
from processing.keyboard import COLOURS, KeyboardResult
from processing.limits.conformity import Outcome
from processing.limits.of_a_key import CAPTION_OF
from processing.limits.types import Limits, ValueLimit
from processing.limits.types import Line as LimitLine
from processing.limits.verdict import Decision, UnitVerdict, badness
from processing.report.charts import Axis, Charts, Dots, In, Line, Note, Panel, key_axis, used_looks
from processing.stages import KeyResult
from recordings.keys import ALL_KEYS, Key

MOST_STRIPS = 3
ROOM = 0.15
"""Free room above and below, as a share of what an axis holds."""
FAR = 0.5
"""Keys beyond the limits widen an axis by so much of the usual range at most."""
EDGE = 0.06
"""Marks of keys beyond an axis stand so far inside its ends, as a share of it."""
MOST_DIAMONDS = 24
"""Of more keys that cannot be told the number stands in the title: all are so, and marks would hide the values."""
MOST_NAMES = 12
"""Keys that are named in one strip; more would hide each other."""
RINGS: tuple[tuple[Outcome, str, str], ...] = (
    ("fail", "odd", "fails here"),
    ("cannot tell", "doubtful", "cannot be told here"),
)


@dataclass(frozen=True, slots=True)
class _Strip:
    """What one strip is made of."""

    name: str
    keys: tuple[KeyResult, ...]
    """Where the measurand is known."""
    limits: tuple[ValueLimit, ...]
    worst: dict[Key, Decision]
    """The worst decision on each key in this measurand."""
    failing: frozenset[Key]
    """Keys that fail, in whatever."""
    units: Units


def verdict_strips(verdict: UnitVerdict, result: KeyboardResult, limits: Limits, units: Units) -> Charts | None:
    """Return the strips of the most decisive measurands, None if no measurand is asked for or known on any key."""
    failing = frozenset(key.key for key in verdict.keys if key.outcome == "fail")
    strips = [
        _Strip(
            name,
            keys,
            tuple(one for one in limits.values if one.measurand == name),
            worst,
            failing,
            units,
        )
        for name, worst in _by_decisiveness(verdict)
        if (keys := tuple(key for key in result.keys if key[name].value is not None))
    ]
    if not strips:
        return None
    panels = tuple(_panel(strip) for strip in strips[:MOST_STRIPS])
    return Charts(
        caption="The measurands that decide, worst first. Hollow circles are naturals, filled triangles sharps; bars "
        "are 95 % intervals where they are wider than the mark; straight lines are limits. A key beyond its axis "
        "stands at the edge with its value.",
        panels=panels,
        columns=1,
        height_mm=34.0,
        legend=used_looks(panels),
    )


def _by_decisiveness(verdict: UnitVerdict) -> list[tuple[str, dict[Key, Decision]]]:
    """Return the measurands that were decided on, worst first, with the worst decision on each key."""
    found: dict[str, list[Decision]] = {}
    for one in (*verdict.of_the_unit, *(one for key in verdict.keys for one in key.decisions)):
        name = one.code.rpartition(":")[2]
        if name in CAPTION_OF:
            found.setdefault(name, []).append(one)
    ordered = sorted(found.items(), key=lambda item: min(map(badness, item[1])))
    return [(name, _worst_of_key(decisions)) for name, decisions in ordered]


def _worst_of_key(decisions: Iterable[Decision]) -> dict[Key, Decision]:
    return {one.key: one for one in sorted(decisions, key=badness, reverse=True) if one.key is not None}


def _panel(strip: _Strip) -> Panel:
    y = _axis(strip)
    untold = len(_with_outcome(strip, "cannot tell"))
    shown = RINGS[:1] if untold > MOST_DIAMONDS else RINGS
    rings = [_rings(strip, _with_outcome(strip, outcome), look, label, y) for outcome, look, label in shown]
    elsewhere = _rings(strip, _failing_elsewhere(strip), "odd otherwise", "fails in something else", y)
    dots = [*(_values(strip, colour, y) for colour in COLOURS), *rings, elsewhere]
    return Panel(
        title=f"{CAPTION_OF[strip.name]}{f', {untold} keys cannot be told' if untold > MOST_DIAMONDS else ''}",
        x=key_axis(key.key for key in strip.keys),
        y=y,
        lines=tuple(_limit_lines(strip)),
        dots=tuple(one for one in dots if len(one.x)),
        notes=tuple(_names(strip, y)),
    )


def _axis(strip: _Strip) -> Axis:
    values = [end for key in strip.keys for end in _interval(key, strip.name)]
    ends = [end for limit in strip.limits for key in limit.keys for end in limit.ends(key) if end is not None]
    low, high = (min(ends), max(ends)) if ends else (min(values), max(values))
    typical = float(np.median(values))
    low, high = min(low, typical), max(high, typical)
    far = FAR * ((high - low) or abs(high) or 1.0)
    low, high = max(min([low, *values]), low - far), min(max([high, *values]), high + far)
    room = ROOM * ((high - low) or abs(high) or 1.0)
    unit = next(feature.unit for feature in FEATURES if feature.name == strip.name)
    return In(strip.units).axis("", unit, low - room, high + room)


def _interval(key: KeyResult, name: str) -> tuple[float, float]:
    value, over = key[name].value or 0.0, key[name].expanded or 0.0
    return value - over, value + over


def _shown(strip: _Strip, keys: Iterable[KeyResult], y: Axis) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return where keys stand on an axis: at its edge if they lie beyond it."""
    inset = EDGE * (y.high - y.low)
    at = [strip.units.value(key[strip.name].value or 0.0, key[strip.name].unit) for key in keys]
    return np.clip(np.array(at, np.float64), y.low + inset, y.high - inset)


def _values(strip: _Strip, colour: str, y: Axis) -> Dots:
    keys = [key for key in strip.keys if key.key.colour == colour]
    found = [key[strip.name] for key in keys]
    return Dots(
        label=f"{colour}s",
        look=f"{colour} 0",
        x=np.array([key.key.number for key in keys], np.float64),
        y=_shown(strip, keys, y),
        bar=np.array([strip.units.value(one.expanded or 0.0, one.unit) for one in found], np.float64),
        said=tuple(f"{key.key.name}: {measured(key[strip.name], strip.units)}" for key in keys),
    )


def _with_outcome(strip: _Strip, outcome: Outcome) -> list[KeyResult]:
    return [key for key in strip.keys if key.key in strip.worst and strip.worst[key.key].outcome == outcome]


def _failing_elsewhere(strip: _Strip) -> list[KeyResult]:
    here = {key.key for key in _with_outcome(strip, "fail")}
    return [key for key in strip.keys if key.key in strip.failing - here]


def _rings(strip: _Strip, keys: list[KeyResult], look: str, label: str, y: Axis) -> Dots:
    return Dots(
        label=label,
        look=look,
        x=np.array([key.key.number for key in keys], np.float64),
        y=_shown(strip, keys, y),
        said=tuple(key.key.name for key in keys),
    )


def _names(strip: _Strip, y: Axis) -> list[Note]:
    keys = sorted(_with_outcome(strip, "fail"), key=lambda key: badness(strip.worst[key.key]))
    keys = [*keys, *_failing_elsewhere(strip)][:MOST_NAMES]
    notes = []
    for key, at in zip(keys, _shown(strip, keys, y).tolist(), strict=True):
        value = strip.units.value(key[strip.name].value or 0.0, key[strip.name].unit)
        words = key.key.name if y.low <= value <= y.high else f"{key.key.name}: {rounded(key[strip.name], strip.units)}"
        notes.append(Note(float(key.key.number), at, words))
    return notes


def _limit_lines(strip: _Strip) -> Iterator[Line]:
    for limit in strip.limits:
        of_sharps = {key.colour for key in limit.keys} == {"sharp"}
        ends = [end for end in (limit.lower, limit.upper) if end is not None]
        for keys in unbroken(limit.keys):
            for end in ends:
                yield _limit_line(end, keys, of_sharps=of_sharps, unit=limit.unit, units=strip.units)


def unbroken(keys: Iterable[Key]) -> list[list[Key]]:
    """Return keys in stretches between which a key lies that is not among them; keys of one colour miss that colour's.

    >>> [[key.name for key in stretch] for stretch in unbroken(map(Key.from_name, ("C4", "D4", "F4")))]
    [['C4', 'D4'], ['F4']]
    """
    ordered = sorted(keys)
    colours = {key.colour for key in ordered}
    row: Sequence[Key] = [key for key in ALL_KEYS if key.colour in colours]
    stretches: list[list[Key]] = []
    for key in ordered:
        place = row.index(key)
        if stretches and row[place - 1] == stretches[-1][-1]:
            stretches[-1].append(key)
        else:
            stretches.append([key])
    return stretches


def _limit_line(end: LimitLine, keys: list[Key], *, of_sharps: bool, unit: str, units: Units) -> Line:
    """Return a limit over its keys, from half a key before the first to half a key behind the last."""
    return Line(
        label="limit of the sharps" if of_sharps else "limit",
        look="limit of sharps" if of_sharps else "limit",
        x=np.array([keys[0].number - 0.5, keys[-1].number + 0.5]),
        y=In(units)(np.array([end.at(keys[0]), end.at(keys[-1])]), unit),
        read_off=False,
    )
