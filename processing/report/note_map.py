"""The map of notes: on one axis of travel per key, where the note starts and stops, the let-off, the reset, the bed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from processing.calibration_status import marked
from processing.display import Units, measured
from processing.report.charts import Bars, Charts, Dots, In, Panel, key_axis, used_looks
from processing.report.recorded import Described
from processing.stages import KeyResult

PLACES: tuple[tuple[str, str, str, Callable[[KeyResult], float | None]], ...] = (
    # look      label                          uncertainty of       place from touch
    ("peak",     "let-off peak",               "letoff_peak_position", lambda key: key["letoff_peak_position"].value),
    ("note on",  "note starts (down)",         "trigger_position",     lambda key: key["trigger_position"].value),
    ("note off", "note stops (up)",            "release_position",     lambda key: key["release_position"].value),
    ("reset",    "ready to sound again (up)",  "reset_height",         lambda key: _above_the_dip(key, "reset_height")),
    ("bed",      "bed begins",                 "bed_contact",          lambda key: key["bed_contact"].value),
)  # fmt: skip


def note_maps(recordings: Sequence[Described], units: Units) -> Charts | None:
    """Return a map per recording on one scale; None if nothing is known of any note or let-off."""
    deepest = max((key["key_dip"].value or 0.0 for one in recordings for key in one.measured), default=0.0)
    panels = tuple(_panel(recorded, units, deepest, alone=len(recordings) == 1) for recorded in recordings)
    if not any(panel.dots for panel in panels):
        return None
    return Charts(
        caption="Travel per key, the top of the key above, the bed below; the pale bar ends at key dip. A note that "
        "stops high on the way up can be held while the key is lifted to repeat.",
        panels=panels,
        columns=1,
        height_mm=88.0 if len(recordings) == 1 else 76.0,
        legend=used_looks(panels),
    )


def _above_the_dip(key: KeyResult, name: str) -> float | None:
    height, dip = key[name].value, key["key_dip"].value
    return None if height is None or dip is None else dip - height


def _panel(recorded: Described, units: Units, deepest_mm: float, *, alone: bool) -> Panel:
    to, keys = In(marked(units, recorded.result.header)), recorded.measured
    dips = [(key.key.number, value, key) for key in keys if (value := key["key_dip"].value) is not None]
    travel = Bars(
        label="travel to key dip",
        look="travel",
        at=np.array([number for number, *_ in dips], np.float64),
        low=np.zeros(len(dips)),
        high=to(np.array([value for _, value, _ in dips], np.float64), "mm"),
        said=tuple(f"{key.key.name}: key dip {measured(key['key_dip'], units)}" for *_, key in dips),
        thick=0.9,
    )
    return Panel(
        title="Where notes start and stop" if alone else recorded.name,
        x=key_axis(key.key for key in recorded.result.keys),
        y=to.axis("travel", "mm", 0.0, 1.04 * deepest_mm or 1.0, downward=True),
        bars=(travel,) if dips else (),
        dots=tuple(dots for row in PLACES if len((dots := _dots(keys, to.units, *row)).x)),
    )


def _dots(
    keys: tuple[KeyResult, ...],
    units: Units,
    look: str,
    label: str,
    name: str,
    place_of: Callable[[KeyResult], float | None],
) -> Dots:
    known = [(key, place) for key in keys if (place := place_of(key)) is not None]
    return Dots(
        label=label,
        look=look,
        x=np.array([key.key.number for key, _ in known], np.float64),
        y=In(units)(np.array([place for _, place in known], np.float64), "mm"),
        said=tuple(f"{key.key.name}: {label}, {measured(key[name], units)}" for key, _ in known),
    )
