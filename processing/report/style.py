"""Colours, shapes and figure basics of all pictures. Told apart by shape and lightness first, colour second.

How it works: `LOOKS` is the one table of how anything looks, by its name; the PDF and the page both draw from it.
Colours: Okabe & Ito's set for all kinds of colour vision, of unequal lightness so that they also differ in grey.
With several recordings a colour is a recording, solid is down, dashed is up; circles, squares, diamonds and pentagons
are naturals (hollow), triangles are sharps (filled).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import matplotlib
from matplotlib.figure import Figure

DARK, BLUE, ORANGE, GREEN, RED, PALE = "#222222", "#0072B2", "#E69F00", "#009E73", "#D55E00", "#C9CDD2"
PURPLE = "#CC79A7"
RECORDING_COLOURS = (BLUE, ORANGE, GREEN, PURPLE)
MOST_RECORDINGS = len(RECORDING_COLOURS)
"""So many recordings can be told apart in one picture."""
PAGE_INCHES = (8.27, 11.69)
"""A4, upright."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a line, dots or bars look. Lengths in points."""

    colour: str
    dash: tuple[float, ...] = ()
    width: float = 1.3
    marker: str = ""
    """o circle, ^ v < > triangles, s square, D diamond, p pentagon, x cross, | bar."""
    size: float = 5.0
    filled: bool = True
    hatched: bool = False
    opacity: float = 1.0


MARKS = {
    "edge": Look(colour=RED, marker="|", size=9),
    "damper": Look(colour=GREEN, marker="s", size=4.5),
    "note on": Look(colour=DARK, marker="D", size=4.5),
    "note off": Look(colour=DARK, marker="D", size=4.5, filled=False),
    "peak": Look(colour=RED, marker="v", size=5.5),
    "bed": Look(colour=DARK, marker="x", size=5),
    "reset": Look(colour=GREEN, marker="<", size=5, filled=False),
}
"""Places on a key's way; where several recordings share a picture they take the colour of theirs."""


def _of_recordings() -> dict[str, Look]:
    shapes = (("o", "^"), ("s", "v"), ("D", "<"), ("p", ">"))
    looks = {}
    for number, (colour, (natural, sharp)) in enumerate(zip(RECORDING_COLOURS, shapes, strict=True)):
        looks[f"down {number}"] = Look(colour=colour)
        looks[f"up {number}"] = Look(colour=colour, dash=(4, 2))
        looks[f"faint {number}"] = Look(colour=colour, width=0.5, opacity=0.3)
        looks[f"typical {number}"] = Look(colour=colour, width=2.4)
        looks |= {f"{name} {number}": replace(look, colour=colour) for name, look in MARKS.items()}
        looks[f"natural {number}"] = Look(colour=colour, marker=natural, size=3.8, filled=False, width=0.9)
        looks[f"sharp {number}"] = Look(colour=colour, marker=sharp, size=4.0, width=0.9)
        looks[f"natural line {number}"] = Look(colour=colour, width=0.9)
        looks[f"sharp line {number}"] = Look(colour=colour, width=0.9, dash=(1.5, 2))
    return looks


LOOKS: dict[str, Look] = {
    "down": Look(colour=BLUE),
    "up": Look(colour=ORANGE, dash=(4, 2)),
    "pale": Look(colour=PALE),
    "faint": Look(colour=BLUE, width=0.6, opacity=0.35),
    "typical": Look(colour=DARK, width=2.2),
    "zero": Look(colour=DARK, width=0.6),
    "down weight": Look(colour=BLUE, width=3.0, opacity=0.35),
    "up weight": Look(colour=ORANGE, width=3.0, opacity=0.5),
    **MARKS,
    "dip": Look(colour=DARK, width=0.8, dash=(1, 2)),
    "stroke": Look(colour=DARK, marker="o", size=3.2),
    "sounded": Look(colour=BLUE, marker="o", size=5),
    "silent": Look(colour=BLUE, marker="o", size=5, filled=False),
    "height": Look(colour=ORANGE, width=1.2),
    "height, dashed": Look(colour=ORANGE, width=1.2, dash=(4, 2)),
    "odd": Look(colour=RED, marker="o", size=10, filled=False, width=1.2),
    "odd otherwise": Look(colour=RED, marker="x", size=7, width=1.2),
    "doubtful": Look(colour=ORANGE, marker="D", size=9, filled=False, width=1.2),
    "limit": Look(colour=DARK, width=1.1),
    "limit of sharps": Look(colour=DARK, width=1.1, dash=(4, 2)),
    "travel": Look(colour="#E3E6EA"),
    "balance": Look(colour=BLUE),
    "friction": Look(colour=ORANGE, hatched=True),
    "notch": Look(colour=DARK),
    "type A": Look(colour=BLUE),
    "type B": Look(colour=ORANGE, hatched=True),
    "all together": Look(colour=DARK),
    "unit of the baseline": Look(colour=DARK, marker="o", size=2.6, filled=False),
    "unit": Look(colour=BLUE, marker="o", size=2.4),
    "unit beyond": Look(colour=RED, marker="D", size=3.6),
    "control limit": Look(colour=RED, width=1.0, dash=(5, 2)),
    "limit for the eye": Look(colour=DARK, width=0.8, dash=(1, 2)),
    "centre": Look(colour=DARK, width=0.7),
    "what explains it": Look(colour=ORANGE, width=2.2),
    "sum upward": Look(colour=BLUE, marker="^", size=3.0),
    "sum downward": Look(colour=ORANGE, marker="v", size=3.0, filled=False),
    "units with a reason": Look(colour=BLUE),
    "reasons before": Look(colour=DARK, marker="D", size=4.0),
    **_of_recordings(),
}

RC: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#E6E8EB",
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "legend.frameon": False,
    "legend.fontsize": 7,
    "hatch.linewidth": 0.6,
    "pdf.fonttype": 42,
    "text.parse_math": False,  # a dollar in a name is a dollar
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw in our style inside this block; nobody else's settings are touched."""
    with matplotlib.rc_context(RC):
        yield


def new_figure(width_inches: float, height_inches: float) -> Figure:
    """Return an empty figure that lays itself out; no window system is needed."""
    figure = Figure(figsize=(width_inches, height_inches))
    figure.set_layout_engine("constrained")
    return figure
