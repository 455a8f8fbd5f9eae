"""Colours, shapes and figure basics of all pictures. Told apart by shape and lightness first, colour second.

Colours: Okabe & Ito's set for all kinds of colour vision, of unequal lightness so that they also differ in grey.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

DARK, BLUE, ORANGE, GREEN, RED, PALE = "#222222", "#0072B2", "#E69F00", "#009E73", "#D55E00", "#C9CDD2"
NATURAL, SHARP = "o", "^"
PAGE_INCHES = (8.27, 11.69)
"""A4, upright."""

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
    "svg.fonttype": "none",
    "svg.hashsalt": "keyplumb",
    "pdf.fonttype": 42,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw in our style inside this block; nobody else's settings are touched."""
    with matplotlib.rc_context(RC):
        yield


def new_figure(width_inches: float, height_inches: float, *, head_inches: float = 0.0) -> Figure:
    """Return an empty figure that lays itself out under a free head; no window system is needed."""
    figure = Figure(figsize=(width_inches, height_inches))
    figure.set_layout_engine("constrained", rect=(0.0, 0.0, 1.0, 1.0 - head_inches / height_inches))
    return figure


def key_axis(axes: Axes) -> None:
    """Label the horizontal axis with the octaves of the 88 keys."""
    axes.set_xlim(0, 89)
    axes.set_xticks([1, *range(4, 89, 12)], ["A0", *(f"C{octave}" for octave in range(1, 9))])
