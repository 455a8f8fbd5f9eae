"""A key in motion: how its velocity answers to speed, and which lifts let it sound again.

The law is drawn as it is read: straight between speeds over their logarithm. Lifts that sounded are full circles,
silent ones hollow, so that they differ without colour; the solid line is the reset height, the dashed one note-off.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from processing.calibration_status import marked
from processing.display import Units, measured
from processing.dynamics.response import Response
from processing.report.charts import Axis, Charts, Dots, In, Line, Panel, used_looks
from processing.report.recorded import Described
from processing.stages import KeyResult
from recordings.keys import Key

LOUDEST = 127.0
ROOM = 1.15
HEIGHTS = (("reset_height", "reset height", "height"), ("release_height", "note stops", "height, dashed"))


def motion(recordings: Sequence[Described], keys: Sequence[Key], units: Units) -> Charts | None:
    """Return the chosen keys that were pressed at several speeds or lifted in part; None if there are none."""
    panels = tuple(
        panel
        for key in keys
        for recorded in recordings
        if (result := recorded.of(key)) is not None
        for panel in _panels(result, marked(units, recorded.result.header), _whose(recorded, recordings))
    )
    if not panels:
        return None
    return Charts(
        caption="Keys in motion: velocities of single strokes over the key's speed in the last millimetre before the "
        "note, and partial lifts from the bed with whether the next press sounded.",
        panels=panels,
        columns=2,
        height_mm=60.0,
        legend=used_looks(panels),
    )


def _whose(recorded: Described, recordings: Sequence[Described]) -> str:
    return "" if len(recordings) == 1 else f"{recorded.name}, "


def _panels(result: KeyResult, units: Units, whose: str) -> list[Panel]:
    seen, found = result.dynamics, []
    if seen is not None and seen.response is not None:
        found.append(_response(seen.response, result, In(units), whose))
    if seen is not None and seen.lifts:
        found.append(_lifts(result, In(units), whose))
    return found


def _response(response: Response, result: KeyResult, to: In, whose: str) -> Panel:
    """Return velocity over the logarithm of speed."""
    law, strokes = (to(speeds, "mm/s") for speeds in (response.law_mm_per_s, response.speed_mm_per_s))
    shown = to.units.of("mm/s")
    everything = np.log10(np.concatenate([law, strokes]))
    low, high = float(everything.min()) - 0.1, float(everything.max()) + 0.1
    return Panel(
        title=f"{whose}{result.key.name}, velocity over speed",
        x=Axis(label=f"key speed ({shown})", unit=shown, low=low, high=high, decimals=2, ticks=_decades(low, high)),
        y=Axis(label="MIDI velocity", unit="", low=0.0, high=LOUDEST, decimals=1),
        lines=(
            Line(
                label="nearest rising law", look="down", x=np.log10(law), y=response.law_velocity + 0.0, read_off=False
            ),
        ),
        dots=(
            Dots(
                label="strokes",
                look="stroke",
                x=np.log10(strokes),
                y=response.velocity + 0.0,
                said=tuple(
                    f"{speed:.1f} {shown}: velocity {velocity:g}"
                    for speed, velocity in zip(strokes.tolist(), response.velocity.tolist(), strict=True)
                ),
            ),
        ),
    )


def _decades(low: float, high: float) -> tuple[tuple[float, str], ...]:
    """Return ticks at 1, 2 and 5 of each power of ten, for an axis of logarithms."""
    powers = range(int(np.floor(low)), int(np.ceil(high)) + 1)
    return tuple(
        (float(np.log10(digit * 10.0**power)), f"{digit * 10.0**power:g}") for power in powers for digit in (1, 2, 5)
    )


def _lifts(result: KeyResult, to: In, whose: str) -> Panel:
    lifts = result.dynamics.lifts if result.dynamics is not None else ()
    known = [(look, words, value) for name, words, look in HEIGHTS if (value := result[name].value) is not None]
    highest = ROOM * max([lift.height_mm for lift in lifts] + [value for *_, value in known])
    across = np.array([0.5, len(lifts) + 0.5])
    return Panel(
        title=f"{whose}{result.key.name}, reset {measured(result['reset_height'], to.units)} above the dip",
        x=Axis(label="lift, in the order of time", unit="", low=0.0, high=len(lifts) + 1.0, decimals=0),
        y=to.axis("height above the dip", "mm", 0.0, highest),
        lines=tuple(
            Line(label=words, look=look, x=across + 0.0, y=to(np.array([value, value]), "mm"), read_off=False)
            for look, words, value in known
        ),
        dots=tuple(
            dots
            for sounded, look in ((True, "sounded"), (False, "silent"))
            if len((dots := _lift_dots(result, to, sounded=sounded, look=look)).x)
        ),
    )


def _lift_dots(result: KeyResult, to: In, *, sounded: bool, look: str) -> Dots:
    lifts = result.dynamics.lifts if result.dynamics is not None else ()
    shown = [(number, lift.height_mm) for number, lift in enumerate(lifts, 1) if lift.sounded == sounded]
    heights = to(np.array([height for _, height in shown], np.float64), "mm")
    return Dots(
        label=look,
        look=look,
        x=np.array([number for number, _ in shown], np.float64),
        y=heights,
        said=tuple(f"lifted by {height:.3g} {to.units.of('mm')}: {look}" for height in heights.tolist()),
    )
