"""All curves at once, small multiples on one scale; and chosen ones in large, of one recording or of several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from processing.calibration_status import marked
from processing.display import Units
from processing.report.charts import Charts, Dots, In, Line, Panel, used_looks
from processing.report.choice import left_out, odd_words
from processing.report.curves import BEYOND_MM, NOTHING, branches, key_panel, marks, top_newton
from processing.report.recorded import Described, jointly_marked
from processing.stages import KeyResult
from recordings.keys import Key

TALL_SHARE = 0.98
"""Share of the keys that the scale of the atlas shows whole: one heavy key must not flatten all others."""
TILE_COLUMNS = 8
CURVE_MM = 58.0
"""Of a row of chosen curves: four fill a page."""
ODD = " *"
"""Beside the name of a key that stands out, in a tile that has no room for words."""


def atlas(recordings: Sequence[Described], units: Units) -> Charts | None:
    """Return a small picture of every key, all on one scale; None if no key has a curve."""
    keys = keys_of(recordings)
    everything = tuple(key for recorded in recordings for key in recorded.measured)
    if not everything:
        return None
    top, end = top_newton(everything, TALL_SHARE), max(float(key.curve.way_mm[-1]) for key in everything if key.curve)
    to = In(jointly_marked(units, recordings))
    way = to.axis("displacement from touch", "mm", -BEYOND_MM, end + BEYOND_MM)
    force = to.axis("force", "N", 0.0, top)
    panels = tuple(
        replace(panel, x=way, y=force, title=panel.title + (ODD if odd_words(recordings, key) else ""))
        for key in keys
        for panel in (_panel(key, recordings, units),)
    )
    odd = f" Keys with {ODD.strip()} stand out." if any(panel.title.endswith(ODD) for panel in panels) else ""
    return Charts(
        caption=f"Force over displacement of every key, all on one scale: 0 to {force.high:.3g} {force.unit}, "
        f"0 to {way.high:.3g} {way.unit}. {_how_to_tell(recordings)}{odd}",
        panels=panels,
        columns=TILE_COLUMNS,
        height_mm=20.0,
        legend=used_looks(panels, lambda label: label.endswith((" down", " up")) or label in ("down", "up")),
        tiles=True,
    )


def chosen_curves(
    recordings: Sequence[Described], keys: Sequence[Key], units: Units, beside: dict[Key, KeyResult | None]
) -> Charts | None:
    """Return the chosen keys in large. beside: for a key that stands out, a plain one to be seen behind it."""
    if not keys:
        return None
    panels = tuple(_titled(_panel(key, recordings, units, beside.get(key)), key, recordings) for key in keys)
    told = _also_odd(left_out(recordings, keys))
    return Charts(
        caption=f"Force over displacement of {', '.join(key.name for key in keys)}. {_how_to_tell(recordings)}{told}",
        panels=panels,
        columns=2,
        height_mm=CURVE_MM,
        legend=tuple(
            (look, "a plain key beside it" if look == "pale" else label) for look, label in used_looks(panels)
        ),
    )


def keys_of(recordings: Sequence[Described]) -> list[Key]:
    """Return all keys that any recording holds, in their order."""
    return sorted({key.key for recorded in recordings for key in recorded.result.keys})


def _how_to_tell(recordings: Sequence[Described]) -> str:
    if len(recordings) == 1:
        return "Solid is down, dashed is up; thick pale bars are down and up weight where they were taken."
    return "Solid is down, dashed is up, a colour a recording; bands are 95 % of each curve's own scatter."


def _panel(key: Key, recordings: Sequence[Described], units: Units, beside: KeyResult | None = None) -> Panel:
    if len(recordings) == 1:
        result = recordings[0].of(key)
        assert result is not None
        return key_panel(result, marked(units, recordings[0].result.header), beside=beside)
    return overlay(key, recordings, units)


def _also_odd(more: Sequence[Key]) -> str:
    if not more:
        return ""
    names, verb = ", ".join(key.name for key in more), "stands" if len(more) == 1 else "stand"
    return f" {names} {verb} out as well: see “Every key at a glance”."


def _titled(panel: Panel, key: Key, recordings: Sequence[Described]) -> Panel:
    return replace(panel, title=panel.title.replace(key.name, key.name + odd_words(recordings, key), 1))


def overlay(key: Key, recordings: Sequence[Described], units: Units) -> Panel:
    """Return one key of several recordings over one another, with their bands and marks."""
    joint = jointly_marked(units, recordings)
    found = [
        (number, recorded, result)
        for number, recorded in enumerate(recordings)
        if (result := recorded.of(key)) is not None and result.curve is not None
    ]
    to = In(joint)
    end = max((float(result.curve.way_mm[-1]) for *_, result in found if result.curve), default=12.0)
    lines: list[Line] = []
    dots: list[Dots] = []
    for number, recorded, result in found:
        own = marked(units, recorded.result.header)
        assert result.curve is not None
        lines += branches(result.curve, own, recorded.name, f"down {number}", f"up {number}")
        dots += [
            replace(one, look=f"{one.look} {number}", said=tuple(f"{recorded.name}, {said}" for said in one.said))
            for one in marks(result, result.curve, own)
        ]
    absent = [recorded.name for recorded in recordings if recorded.name not in {one.name for _, one, _ in found}]
    return Panel(
        title=key.name + (f" (not of {', '.join(absent)})" if absent and found else ""),
        x=to.axis("displacement from touch", "mm", -BEYOND_MM, end + BEYOND_MM),
        y=to.axis("force", "N", 0.0, top_newton(tuple(result for *_, result in found))),
        lines=tuple(lines),
        dots=tuple(dots),
        empty="" if found else NOTHING,
    )
