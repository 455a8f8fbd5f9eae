"""The let-offs of a keyboard from close by, laid over one another at their peaks; and the typical one of a register.

How it works: every way down is shifted so that its peak is at 0 mm, and lowered by its force before the let-off
(`letoff_peak_force` - `letoff_rise`), so shapes can be seen beside one another. The typical one is the pointwise
median.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from processing.comparison.regions import PARTS, Region
from processing.display import Units
from processing.report.charts import Axis, Charts, In, Line, Panel, used_looks
from processing.report.recorded import Described, jointly_marked
from processing.stages import FloatArray, KeyResult
from recordings.keys import Key

BEFORE_MM, BEHIND_MM, STEP_MM = 3.0, 1.2, 0.02
PLACES_MM = np.linspace(-BEFORE_MM, BEHIND_MM, round((BEFORE_MM + BEHIND_MM) / STEP_MM) + 1)
ROOM = 0.15
BED_BEGINS_MM = 0.6
"""Behind a peak the key bed may rise from here on; it does not set the scale."""


def letoff_close_up(recordings: Sequence[Described], units: Units) -> Charts | None:
    """Return a panel per register with every let-off in it and the typical one; None if there is none."""
    aligned = [[(key, _aligned(key)) for key in recorded.measured if key.letoff == "found"] for recorded in recordings]
    values = [curve for one in aligned for _, curve in one]
    if not values:
        return None
    to = In(jointly_marked(units, recordings))
    low, high = np.percentile([one[PLACES_MM <= BED_BEGINS_MM] for one in values], [0.1, 99.9])
    room = ROOM * float(high - low)
    axes = (
        to.axis("displacement from the peak", "mm", -BEFORE_MM, BEHIND_MM),
        to.axis("rise", "N", float(low) - room, float(high) + room),
    )
    panels = tuple(panel for region in PARTS if (panel := _panel(region, aligned, recordings, to, axes)) is not None)
    return Charts(
        caption="Every let-off on the way down, its peak at 0 mm and its force from 2.5 to 1.5 mm before the peak "
        "taken for 0. Thin lines are keys, thick ones the pointwise median of the register.",
        panels=panels,
        columns=len(panels),
        height_mm=62.0,
        legend=used_looks(panels, lambda label: label.endswith("median") or label == "a key"),
    )


def _aligned(key: KeyResult) -> FloatArray:
    """Return the way down at PLACES_MM from the peak, less the force before the let-off, in N."""
    curve = key.curve
    assert curve is not None
    peak_mm, peak, rise = (
        key[name].value or 0.0 for name in ("letoff_peak_position", "letoff_peak_force", "letoff_rise")
    )
    aligned: FloatArray = np.interp(PLACES_MM, curve.way_mm - peak_mm, curve.down_newton) - (peak - rise)
    return aligned


def _panel(
    region: Region,
    aligned: list[list[tuple[KeyResult, FloatArray]]],
    recordings: Sequence[Described],
    to: In,
    axes: tuple[Axis, Axis],
) -> Panel | None:
    lines: list[Line] = []
    typical: list[Line] = []
    places = to(PLACES_MM, "mm")
    for number, (recorded, keys) in enumerate(zip(recordings, aligned, strict=True)):
        here = [(key, curve) for key, curve in keys if region.holds(key.key.number)]
        prefix = "" if len(recordings) == 1 else f"{recorded.name} "
        thin = "faint" if len(recordings) == 1 else f"faint {number}"
        lines += [Line(label=f"{prefix}{key.key.name}", look=thin, x=places, y=to(curve, "N")) for key, curve in here]
        if here:
            median = np.median([curve for _, curve in here], axis=0)
            thick = "typical" if len(recordings) == 1 else f"typical {number}"
            typical.append(Line(label=f"{prefix}median", look=thick, x=places, y=to(median, "N")))
    if not typical:
        return None
    title = f"{region.name.capitalize()}, {Key(region.first).name} to {Key(region.last).name}"
    return Panel(title=title, x=axes[0], y=axes[1], lines=(*lines, *typical))
