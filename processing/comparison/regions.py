"""Parts of the keyboard in which keyboards are compared."""

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

    def holds(self, number: int) -> bool:
        """Tell whether a key number is in it."""
        return self.first <= number <= self.last


WHOLE = Region("whole", 1, KEY_COUNT, "over the whole keyboard")
PARTS = (
    Region("bass", 1, 27, "in the bass"),
    Region("middle", 28, 64, "in the middle octaves"),
    Region("treble", 65, KEY_COUNT, "in the top two octaves"),
)
"""A0..B2, C3..C6, C#6..C8: what is left and right of the three octaves and a key that are played most; own choice."""
REGIONS = (WHOLE, *PARTS)
FEWEST_OF_A_COLOUR = 15
"""Fewer were chosen from a keyboard, and no word may be said of all of it."""


def spoken_of(region: Region, numbers: Sequence[int]) -> Region:
    """Return a region as people should speak of it who have measured only these keys of one colour."""
    if region is not WHOLE or len(numbers) >= FEWEST_OF_A_COLOUR:
        return region
    return replace(region, where=f"among the keys from {Key(min(numbers)).name} to {Key(max(numbers)).name}")
