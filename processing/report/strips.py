"""Strips of 88 keys: one measurand a strip, naturals hollow, sharps filled, error bars, trends, odd keys ringed.

How it works: one recording shows two related measurands in one strip; several recordings share a strip per measurand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from processing.calibration_status import marked
from processing.display import Units, measured, rounded
from processing.keyboard import COLOURS
from processing.report.charts import Axis, Charts, Dots, In, Line, Note, Panel, key_axis, used_looks
from processing.report.recorded import Described, jointly_marked
from processing.stages import KeyResult

EDGE = 0.12
"""Rings of keys beyond the axis stand so far inside its ends, as a share of it: there is room for their words."""
FAR = 0.6
"""Keys that stand out widen a strip by so much of its usual range at most: they must not flatten all others."""
SECOND = ", of the number named second"
MARGIN = 0.14
"""Free room above and below the values, as a share of their range."""


@dataclass(frozen=True, slots=True)
class Strip:
    """One strip: its title, what it shows, and whether it is a way downward (drawn with the top at the top)."""

    title: str
    names: tuple[str, ...]
    downward: bool = False


STRIPS = (
    Strip("Down weight (circles), up weight (squares)", ("down_weight", "up_weight")),
    Strip("Friction", ("friction",)),
    Strip("Key dip (deeper is lower)", ("key_dip",), downward=True),
    Strip("Let-off peak (circles), note starts (squares); deeper is lower",
          ("letoff_peak_position", "trigger_position"), downward=True),
    Strip("Let-off: drop", ("letoff_drop",)),
    Strip("Note stops, above the dip", ("release_height",)),
    Strip("Reset, above the dip", ("reset_height",)),
    Strip("Latency of the note", ("note_latency",)),
    Strip("Fastest repetition", ("repetition_limit",)),
)  # fmt: skip
SIDE_BY_SIDE = (
    Strip("Down weight", ("down_weight",)),
    Strip("Up weight", ("up_weight",)),
    Strip("Friction", ("friction",)),
    Strip("Key dip (deeper is lower)", ("key_dip",), downward=True),
    Strip("Let-off peak (deeper is lower)", ("letoff_peak_position",), downward=True),
    Strip("Let-off: drop", ("letoff_drop",)),
    Strip("Note starts (deeper is lower)", ("trigger_position",), downward=True),
    Strip("Note stops, above the dip", ("release_height",)),
    Strip("Reset, above the dip", ("reset_height",)),
    Strip("Latency of the note", ("note_latency",)),
    Strip("Fastest repetition", ("repetition_limit",)),
)


@dataclass(frozen=True, slots=True)
class Shown:
    """One measurand of one recording in a strip, and the number of its look."""

    recorded: Described
    name: str
    number: int
    called: str
    """Whose it is, said before it."""
    told_apart: str
    """Said behind it in the legend."""


def strips(recordings: Sequence[Described], units: Units) -> Charts | None:
    """Return all strips that have something to show, None if none has."""
    chosen = STRIPS if len(recordings) == 1 else SIDE_BY_SIDE
    panels = tuple(panel for strip in chosen if (panel := strip_panel(strip, recordings, units)) is not None)
    if not panels:
        return None
    return Charts(
        caption="All keys from bass to treble. Hollow marks are naturals, triangles sharps; bars are 95 % intervals, "
        "where they are wider than the mark; lines are trends (Theil-Sen, or smooth where no line fits) with their "
        "95 % bands, dotted for sharps; rings mark keys that stand out from their neighbours in that number, at the "
        "edge with the value where they lie beyond it.",
        panels=panels,
        columns=1,
        height_mm=40.0,
        legend=used_looks(panels, lambda label: "trend" not in label),
    )


def strip_panel(strip: Strip, recordings: Sequence[Described], units: Units) -> Panel | None:
    """Return one strip, None if nothing of it was measured."""
    joint = jointly_marked(units, recordings)
    if len(recordings) == 1:
        shown = [Shown(recordings[0], name, number, "", SECOND * number) for number, name in enumerate(strip.names)]
    else:
        shown = [
            Shown(recorded, name, number, f"{recorded.name}, ", "")
            for name in strip.names
            for number, recorded in enumerate(recordings)
        ]
    shown = [one for one in shown if _known(one)]
    if not shown:
        return None
    y = _axis(strip, shown, joint)
    dots = [dots for one in shown for dots in _values(one, units)] + [_rings(one, units, y) for one in shown]
    return Panel(
        title=strip.title,
        x=key_axis(key.key for recorded in recordings for key in recorded.result.keys),
        y=y,
        lines=tuple(line for one in shown for line in trend_lines(one, units)),
        dots=tuple(one for one in dots if len(one.x)),
        notes=tuple(note for one in shown for note in _odd_names(one, units, y)),
    )


def _known(shown: Shown) -> list[KeyResult]:
    return [key for key in shown.recorded.result.keys if key[shown.name].value is not None]


def _axis(strip: Strip, shown: list[Shown], units: Units) -> Axis:
    """Return an axis on which the usual keys fill the strip; keys that stand out far may lie beyond it."""
    everything: list[float] = []
    usual: list[float] = []
    for one in shown:
        odd = {key.key for key in _odd(one)}
        for key in _known(one):
            value, over = key[one.name].value or 0.0, key[one.name].expanded or 0.0
            everything += [value - over, value + over]
            usual += [] if key.key in odd else [value - over, value + over]
    low, high = min(usual or everything), max(usual or everything)
    far = FAR * (high - low)
    low, high = max(min(everything), low - far), min(max(everything), high + far)
    room = MARGIN * ((high - low) or abs(high) or 1.0)
    unit = _known(shown[0])[0][shown[0].name].unit
    return In(units).axis("", unit, low - room, high + room, downward=strip.downward)


def _values(shown: Shown, units: Units) -> tuple[Dots, ...]:
    own = marked(units, shown.recorded.result.header)
    return tuple(
        _dots(
            [key for key in _known(shown) if key.key.colour == colour],
            shown,
            f"{shown.called}{colour}s{shown.told_apart}",
            f"{colour} {shown.number}",
            own,
        )
        for colour in COLOURS
    )


def _rings(shown: Shown, units: Units, y: Axis) -> Dots:
    """Return rings about the keys that stand out here; a key beyond the axis has its ring at the edge."""
    rings = _dots(_odd(shown), shown, "stands out here", "odd", marked(units, shown.recorded.result.header))
    return replace(rings, y=np.clip(rings.y, *_edges(y)))


def _edges(y: Axis) -> tuple[float, float]:
    inset = EDGE * (y.high - y.low)
    return y.low + inset, y.high - inset


def _dots(keys: list[KeyResult], shown: Shown, label: str, look: str, units: Units) -> Dots:
    found = [key[shown.name] for key in keys]
    return Dots(
        label=label,
        look=look,
        x=np.array([key.key.number for key in keys], np.float64),
        y=np.array([units.value(one.value or 0.0, one.unit) for one in found], np.float64),
        bar=None if look == "odd" else np.array([units.value(one.expanded or 0.0, one.unit) for one in found]),
        said=tuple(f"{shown.called}{key.key.name}: {measured(key[shown.name], units)}" for key in keys),
    )


def _odd(shown: Shown) -> list[KeyResult]:
    """Return the keys that stand out in this very measurand."""
    return [
        odd.result
        for odd in shown.recorded.result.odd_keys
        if odd.result[shown.name].value is not None and shown.name in [reason.code for reason in odd.reasons]
    ]


def _odd_names(shown: Shown, units: Units, y: Axis) -> list[Note]:
    """Return the names of the keys that stand out here, with their values where they lie beyond the axis."""
    low, high = _edges(y)
    notes = []
    for key in _odd(shown):
        found = key[shown.name]
        at = units.value(found.value or 0.0, found.unit)
        words = key.key.name if low <= at <= high else f"{key.key.name}: {rounded(found, units)}"
        notes.append(Note(float(key.key.number), min(max(at, low), high), words))
    return notes


def trend_lines(shown: Shown, units: Units) -> tuple[Line, ...]:
    """Return the trends of a measurand with their 95 % bands, one a colour."""
    to = In(units)
    trends = [one.trend for one in shown.recorded.statistics.measurands if one.name == shown.name]
    return tuple(
        Line(
            label=f"{shown.called}trend of the {trend.colour}s",
            look=f"{trend.colour} line {shown.number}",
            x=np.array(trend.numbers, np.float64),
            y=to(trend.fitted, trend.unit),
            band=to(trend.half_width, trend.unit),
            read_off=False,
        )
        for trend in trends
        if trend is not None
    )
