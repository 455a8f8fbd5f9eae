"""What a picture shows, before anything is drawn: panels of lines, dots and bars, and what is said of each.

How it works: pictures are plain data in the reader's units. `draw.py` draws them for paper, `chart_data.py` hands them
to the page's own script. How things look is said by a name of `style.LOOKS`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from processing.display import DEFAULT_DECIMALS, Units
from processing.stages import FloatArray, read_only
from recordings.keys import KEY_COUNT, Key

BESIDE_KEYS = 0.8
"""Room left and right of the outer keys, in keys."""
SMALLEST_RANGE = 0.01
"""N or mm: nothing that is measured here is told more finely than a thousandth of it."""
Said = tuple[str, ...]
"""What is said of each dot or bar that one points at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis, in the reader's unit."""

    label: str
    unit: str
    low: float
    high: float
    decimals: int
    """Of a number read off."""
    ticks: tuple[tuple[float, str], ...] | None = None
    """Where something is written; None: round numbers."""
    fine: tuple[tuple[float, str], ...] | None = None
    """What is written instead where there is room for all of it."""
    downward: bool = False
    """Drawn with the low end at the top (of a horizontal axis: never)."""

    def ticks_within(self, most: int) -> tuple[tuple[float, str], ...] | None:
        """Return what is written along the whole axis where there is room for so many words; None: round numbers."""
        inside = [
            tuple(tick for tick in found if self.low <= tick[0] <= self.high)
            for found in (self.fine, self.ticks)
            if found
        ]
        return next((found for found in inside if len(found) <= most), inside[-1] if inside else None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A line. Arrays (N,), finite."""

    label: str
    look: str
    x: FloatArray
    y: FloatArray
    band: FloatArray | None = None
    """Half-width of a band about it, 95 %."""
    read_off: bool = True
    """Whether its values are told to those who point at it; a mere guide's are not."""

    def __post_init__(self) -> None:
        read_only(self.x, self.y)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dots:
    """Single values. Arrays (N,), finite."""

    label: str
    look: str
    x: FloatArray
    y: FloatArray
    said: Said
    bar: FloatArray | None = None
    """Half-length of an error bar, 95 %."""

    def __post_init__(self) -> None:
        read_only(self.x, self.y)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bars:
    """Bars from one value to another, upright, or lying if `lying`. Arrays (N,)."""

    label: str
    look: str
    at: FloatArray
    low: FloatArray
    high: FloatArray
    said: Said
    thick: float = 0.8
    lying: bool = False

    def __post_init__(self) -> None:
        read_only(self.at, self.low, self.high)


@dataclass(frozen=True, slots=True)
class Note:
    """A few words written into a panel, beginning a little right of a place."""

    x: float
    y: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """One pair of axes and what is drawn on them."""

    title: str
    x: Axis
    y: Axis
    lines: tuple[Line, ...] = ()
    dots: tuple[Dots, ...] = ()
    bars: tuple[Bars, ...] = ()
    notes: tuple[Note, ...] = ()
    empty: str = ""
    """Said in the middle of a panel that shows nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Charts:
    """Panels side by side with one caption and one legend."""

    caption: str
    panels: tuple[Panel, ...]
    columns: int
    height_mm: float
    """Of a panel on paper."""
    legend: tuple[tuple[str, str], ...] = ()
    """Look and what it means."""
    tiles: bool = False
    """Small multiples: axes only at the edges, no marks; on the page each opens in large."""

    @property
    def rows(self) -> int:
        """How many rows the panels make."""
        return -(-len(self.panels) // self.columns)


@dataclass(frozen=True, slots=True)
class In:
    """Arrays of ours in the reader's units."""

    units: Units

    def __call__(self, values: FloatArray, unit: str) -> FloatArray:
        """Return values of ours in the unit shown."""
        return self.units.value(1.0, unit) * values

    def axis(self, label: str, unit: str, low: float, high: float, *, downward: bool = False) -> Axis:
        """Return an axis between two values of ours; between equal ones it gets some width of its own."""
        high = high if high > low else low + max(abs(low), SMALLEST_RANGE)
        shown = self.units.of(unit)
        return Axis(
            label=f"{label} ({shown})" if label else shown,
            unit=shown,
            low=self.units.value(low, unit),
            high=self.units.value(high, unit),
            decimals=DEFAULT_DECIMALS.get(self.units.plain(unit), 2) + 1,
            downward=downward,
        )


def key_axis(keys: Iterable[Key] = ()) -> Axis:
    """Return the axis of some keys, of all 88 if none are named; octaves are written, or every key if there is room."""
    numbers = [key.number for key in keys] or [1, KEY_COUNT]
    octaves = tuple((float(number), f"C{octave}") for octave, number in enumerate(range(4, KEY_COUNT + 1, 12), 1))
    names = tuple((float(number), Key(number).name) for number in range(1, KEY_COUNT + 1))
    low, high = min(numbers) - BESIDE_KEYS, max(numbers) + BESIDE_KEYS
    return Axis(label="", unit="", low=low, high=high, decimals=0, ticks=octaves, fine=names)


def used_looks(panels: tuple[Panel, ...], wanted: Callable[[str], bool] = bool) -> tuple[tuple[str, str], ...]:
    """Return look and label of what some panels show, each look and each label once, in the order of first use."""
    found: dict[str, str] = {}
    for panel in panels:
        items: tuple[Line | Dots | Bars, ...] = (*panel.lines, *panel.dots, *panel.bars)
        for item in items:
            if item.label and wanted(item.label) and item.label not in found.values():
                found.setdefault(item.look, item.label)
    return tuple(found.items())
