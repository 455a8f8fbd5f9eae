"""What the force at the notch is made of: balance weight, friction on it, and the notch on top, key after key."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from processing.calibration_status import marked
from processing.display import Units, with_unit
from processing.report.charts import Bars, Charts, In, Panel, key_axis, used_looks
from processing.report.recorded import Described
from processing.stages import KeyResult

PARTS = (
    # look       label             from            to
    ("balance",  "balance weight", None,             "balance_weight"),
    ("friction", "friction",       "balance_weight", "down_weight"),
    ("notch",    "notch",          "down_weight",    "letoff_peak_force"),
)  # fmt: skip


def waterfalls(recordings: Sequence[Described], units: Units) -> Charts | None:
    """Return a panel per recording on one scale; None if no key has weights."""
    known = [[key for key in recorded.measured if key["down_weight"].value is not None] for recorded in recordings]
    tops = [max(_value(key, name) for name in ("down_weight", "letoff_peak_force")) for one in known for key in one]
    if not tops:
        return None
    panels = tuple(
        _panel(recorded, keys, units, max(tops), alone=len(recordings) == 1)
        for recorded, keys in zip(recordings, known, strict=True)
    )
    return Charts(
        caption="What the force at the notch is made of: balance weight, plus friction, which together are the down "
        "weight, plus what the notch asks above it. Where there is no notch the pile ends at the down weight.",
        panels=panels,
        columns=1,
        height_mm=66.0,
        legend=used_looks(panels),
    )


def _value(key: KeyResult, name: str | None) -> float:
    return (key[name].value or 0.0) if name else 0.0


def _panel(recorded: Described, keys: list[KeyResult], units: Units, top: float, *, alone: bool) -> Panel:
    own = marked(units, recorded.result.header)
    return Panel(
        title="What pushing through the notch asks" if alone else recorded.name,
        x=key_axis(key.key for key in recorded.result.keys),
        y=In(own).axis("force", "N", 0.0, 1.05 * top),
        bars=tuple(bars for part in PARTS if len((bars := _part(keys, own, *part)).at)),
    )


def _part(keys: list[KeyResult], units: Units, look: str, label: str, low: str | None, high: str) -> Bars:
    """Return one part of the piles, of the keys that have it."""
    found = [key for key in keys if key[high].value is not None and (low is None or key[low].value is not None)]
    to = In(units)
    return Bars(
        label=label,
        look=look,
        at=np.array([key.key.number for key in found], np.float64),
        low=to(np.array([_value(key, low) for key in found], np.float64), "N"),
        high=to(np.array([_value(key, high) for key in found], np.float64), "N"),
        said=tuple(
            f"{key.key.name}: {label} {with_unit(_value(key, high) - _value(key, low), 'N', units)}, "
            f"up to {with_unit(_value(key, high), 'N', units)}"
            for key in found
        ),
    )
