"""Parts of the keyboard in which keyboards are compared, and how people speak of what was measured of them.

How it works: a part has its own words ("in the bass", "over the whole keyboard") if keys within half an octave of both
its ends were measured, and at least every other key of the colour between them; else the words name the ends of what
was measured ("from C2 to C7"), and how many keys where most were left out. One key is called by its name. A recording
does not say how many keys the instrument has, so "the whole keyboard" is said of 88 keys alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from recordings.keys import KEY_COUNT, Key


@dataclass(frozen=True, slots=True)
class Region:
    """Keys from one number to another, both included, and how people speak of them."""

    name: str
    first: int
    last: int
    where: str
    """As in "in the middle octaves"."""
    ends: tuple[int, int] | None = None
    """First and last key that was measured, where its own words would say too much; None: it was measured."""

    def holds(self, number: int) -> bool:
        """Tell whether a key number is in it."""
        return self.first <= number <= self.last

    @property
    def only_key(self) -> str:
        """Name of the key, if one alone was measured; else empty."""
        return Key(self.ends[0]).name if self.ends and self.ends[0] == self.ends[1] else ""

    @property
    def short(self) -> str:
        """As in a table: "whole", "C2..C7", "bass C2..B2"."""
        if self.ends is None:
            return self.name
        span = self.only_key or "..".join(Key(number).name for number in self.ends)
        return span if self.name == WHOLE.name else f"{self.name} {span}"

    def is_about_as(self, other: Region) -> bool:
        """Tell whether as good as the same stretch of the keyboard was measured in another."""
        ends = zip(self.ends or (self.first, self.last), other.ends or (other.first, other.last), strict=True)
        return all(abs(here - there) < REACHED for here, there in ends)


WHOLE = Region("whole", 1, KEY_COUNT, "over the whole keyboard")
PARTS = (
    Region("bass", 1, 27, "in the bass"),
    Region("middle", 28, 64, "in the middle octaves"),
    Region("treble", 65, KEY_COUNT, "in the treble"),
)
"""A0..B2, C3..C6, C#6..C8: what is left and right of the three octaves and a key that are played most; own choice."""
REGIONS = (WHOLE, *PARTS)
REACHED = 6
"""Keys, half an octave: nearer than this an end counts as measured, for a key that stands out may be left out there."""


def spoken_of(region: Region, numbers: Sequence[int]) -> Region:
    """Return a region as people should speak of it who have measured only these keys of one colour."""
    inside = [number for number in numbers if region.holds(number)]
    if not inside:
        return region
    first, last = min(inside), max(inside)
    if first == last:
        return replace(region, where=f"at {Key(first).name}", ends=(first, last))
    of_colour = [number for number in range(first, last + 1) if Key(number).colour == Key(first).colour]
    gapless = 2 * len(inside) >= len(of_colour)
    if gapless and first - region.first < REACHED and region.last - last < REACHED:
        return region
    span = f"from {Key(first).name} to {Key(last).name}"
    told = span if gapless else f"at {len(inside)} keys {span}"
    return replace(region, where=told if region is WHOLE else f"{region.where}, {told}", ends=(first, last))
