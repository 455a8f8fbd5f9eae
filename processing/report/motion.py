"""A key in motion: how its velocity answers to speed, and which lifts let it sound again.

The law is drawn as it is read: straight between speeds over their logarithm. Lifts that sounded are full circles,
silent ones hollow, so that they differ without colour; the line between them is the reset height, the dashed one the
height at which the note ends.
"""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from processing.display import Units, measured
from processing.dynamics.response import Response
from processing.report.style import BLUE, DARK, ORANGE, new_figure
from processing.stages import KeyResult


def moves(result: KeyResult) -> bool:
    """Tell whether a key has anything to be drawn here."""
    return result.dynamics is not None and (result.dynamics.response is not None or bool(result.dynamics.lifts))


def draw_motion(result: KeyResult, units: Units) -> Figure:
    """Return the figure of one key for which `moves` is true: velocity over speed, then the lifts."""
    figure = new_figure(7.6, 2.9)
    left, right = figure.subplots(1, 2)
    seen = result.dynamics
    if seen is not None and seen.response is not None:
        _draw_response(left, seen.response, result, units)
    else:
        left.set_visible(False)
    if seen is not None and seen.lifts:
        _draw_lifts(right, result, units)
    else:
        right.set_visible(False)
    return figure


def _draw_response(axes: Axes, response: Response, result: KeyResult, units: Units) -> None:
    factor = units.value(1.0, "mm/s")
    axes.set_title(f"{result.key.name}, velocity over speed")
    axes.set_xscale("log")
    axes.plot(factor * response.law_mm_per_s, response.law_velocity, color=BLUE, lw=1.3, label="nearest rising law")
    axes.plot(factor * response.speed_mm_per_s, response.velocity, "o", color=DARK, ms=3, label="strokes")
    axes.set_xlabel(f"key speed ({units.of('mm/s')})")
    axes.set_ylabel("MIDI velocity")
    axes.set_ylim(0, 127)
    axes.legend(loc="upper left")


def _draw_lifts(axes: Axes, result: KeyResult, units: Units) -> None:
    lifts = result.dynamics.lifts if result.dynamics is not None else ()
    factor = units.value(1.0, "mm")
    axes.set_title(f"{result.key.name}, reset {measured(result['reset_height'], units)} above the dip")
    for sounded, face, label in ((True, BLUE, "sounded"), (False, "none", "silent")):
        shown = [(number, lift.height_mm) for number, lift in enumerate(lifts, 1) if lift.sounded == sounded]
        axes.plot(
            [number for number, _ in shown],
            [factor * height for _, height in shown],
            "o",
            color=BLUE,
            markerfacecolor=face,
            label=label,
        )
    for name, style in (("reset_height", "-"), ("release_height", "--")):
        height = result[name].value
        if height is not None:
            axes.axhline(factor * height, color=ORANGE, ls=style, lw=1.0, label=name.replace("_", " "))
    axes.set_xlabel("lift, in the order of time")
    axes.set_ylabel(f"height above the dip ({units.of('mm')})")
    axes.legend(loc="upper right")
