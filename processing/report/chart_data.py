"""Charts as plain data for the page's own script.

How it works: long arrays go into one pool, each once however many pictures show it, as 16-bit steps between its lowest
and highest value, little-endian, base64; an even grid is only its ends. A step is 1/65534 of an array's range, under
0.01 gf for a curve up to the key bed, so what one reads off is not changed by it.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import asdict
from math import floor, log10
from typing import Any

import numpy as np

from processing.report.charts import Axis, Bars, Charts, Dots, Line, Panel
from processing.report.style import LOOKS
from processing.stages import FloatArray

STEPS = 65534
LONG = 8
"""Arrays longer than this are pooled."""
SMALLEST_U_SHOWN = 1e-4


class Pool:
    """The arrays of all charts, each once."""

    def __init__(self) -> None:
        self.entries: list[Any] = []
        self._places: dict[bytes, int] = {}

    def place(self, values: FloatArray) -> int | list[float]:
        """Return where an array is found in the pool; a short one itself."""
        if len(values) <= LONG:
            return [_short(value) for value in values.tolist()]
        found = self._places.setdefault(values.tobytes(), len(self.entries))
        if found == len(self.entries):
            self.entries.append(_packed(values))
        return found


def _packed(values: FloatArray) -> dict[str, Any]:
    low, high = float(values.min()), float(values.max())
    if np.allclose(np.diff(values), (values[-1] - values[0]) / (len(values) - 1), rtol=0.0, atol=1e-9 * (high - low)):
        return {"from": float(values[0]), "to": float(values[-1]), "count": len(values)}
    steps = np.rint((values - low) / ((high - low) or 1.0) * STEPS).astype("<u2")
    return {"low": low, "high": high, "steps": base64.b64encode(steps.tobytes()).decode("ascii")}


def charts_data(all_charts: Sequence[Charts]) -> dict[str, Any]:
    """Return what the script needs to draw some charts, to be written as JSON."""
    pool = Pool()
    charts = [
        {
            "caption": charts.caption,
            "tiles": charts.tiles,
            "legend": [list(row) for row in charts.legend],
            "panels": [_panel(panel, pool) for panel in charts.panels],
        }
        for charts in all_charts
    ]
    return {"looks": {name: asdict(look) for name, look in LOOKS.items()}, "charts": charts, "pool": pool.entries}


def _panel(panel: Panel, pool: Pool) -> dict[str, Any]:
    return {
        "title": panel.title,
        "x": _axis(panel.x),
        "y": _axis(panel.y),
        "lines": [_line(line, panel.y, pool) for line in panel.lines],
        "dots": [_dots(dots, pool) for dots in panel.dots],
        "bars": [_bars(bars, pool) for bars in panel.bars],
        "notes": [[_short(note.x), _short(note.y), note.words] for note in panel.notes],
        "empty": panel.empty,
    }


def _axis(axis: Axis) -> dict[str, Any]:
    return asdict(axis) | {"low": _short(axis.low), "high": _short(axis.high)}


def _line(line: Line, y: Axis, pool: Pool) -> dict[str, Any]:
    found: dict[str, Any] = {
        "label": line.label,
        "look": line.look,
        "x": pool.place(line.x),
        "y": pool.place(line.y),
        "decimals": y.decimals,
    }
    if line.band is not None:
        found |= {"band": pool.place(line.band), "decimals": _decimals(float(np.median(line.band)), y.decimals)}
    return found if line.read_off else found | {"guide": True}


def _decimals(expanded: float, usual: int) -> int:
    """Return the decimals that an uncertainty deserves, as in `display.number`."""
    if expanded < SMALLEST_U_SHOWN:
        return usual
    return max(0, min(4, 1 - floor(log10(2.0 * expanded))))


def _dots(dots: Dots, pool: Pool) -> dict[str, Any]:
    found: dict[str, Any] = {
        "label": dots.label, "look": dots.look, "x": pool.place(dots.x), "y": pool.place(dots.y), "said": dots.said
    }  # fmt: skip
    return found if dots.bar is None else found | {"bar": pool.place(dots.bar)}


def _bars(bars: Bars, pool: Pool) -> dict[str, Any]:
    return {
        "label": bars.label,
        "look": bars.look,
        "at": pool.place(bars.at),
        "low": pool.place(bars.low),
        "high": pool.place(bars.high),
        "said": bars.said,
        "thick": bars.thick,
        "lying": bars.lying,
    }


def _short(value: float) -> float:
    return float(f"{value:.7g}")
