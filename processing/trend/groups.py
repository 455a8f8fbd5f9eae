"""Groups of keys, and one number a unit and group: what the control charts chart.

How it works: keys of one colour in one range are a group, for they are made and go wrong together. A unit's number is
the median (or mean) of how far its keys are from what the same keys are like in the baseline, put on the group's mean
level. So a key that is missing from one unit does not move the number, though keys differ from bass to treble. The
median does not follow a single bad key, which is a matter for the verdict of that unit, not for the line.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from processing.stages import FloatArray, read_only
from recordings.keys import ALL_KEYS, KEY_COUNT, Key

if TYPE_CHECKING:
    import pandas as pd

Statistic = Literal["median", "mean"]
FEWEST_SHARE = 0.5
"""Of the group's keys that the baseline knows: with fewer a unit has no number (own choice)."""


@dataclass(frozen=True, slots=True)
class KeyRange:
    """Neighbouring keys, ends included."""

    name: str
    first: Key
    last: Key


RANGES = (
    KeyRange("bass", Key.from_name("A0"), Key.from_name("B2")),
    KeyRange("middle", Key.from_name("C3"), Key.from_name("B5")),
    KeyRange("treble", Key.from_name("C6"), Key.from_name("C8")),
)
"""Two octaves and a little at either end, three in the middle: strings, springs and rails commonly change there."""


@dataclass(frozen=True, slots=True)
class KeyGroup:
    """Keys of one colour in one range."""

    colour: str
    range: KeyRange

    @property
    def name(self) -> str:
        """Return its name for people, as in "naturals, middle"."""
        return f"{self.colour}s, {self.range.name}"

    @property
    def numbers(self) -> tuple[int, ...]:
        """Return the numbers of its keys."""
        first, last = self.range.first.number, self.range.last.number
        return tuple(key.number for key in ALL_KEYS[first - 1 : last] if key.colour == self.colour)


GROUPS = tuple(KeyGroup(colour, part) for colour in ("natural", "sharp") for part in RANGES)


@dataclass(frozen=True, slots=True, eq=False)
class GroupSeries:
    """One number a unit, oldest first. Arrays (N,), in the measurand's unit; nan where a unit has none."""

    group: KeyGroup
    values: FloatArray
    u: FloatArray
    """Standard uncertainty of each, as if all keys of a unit shared it: at most so much of the scatter is measuring."""

    def __post_init__(self) -> None:
        read_only(self.values, self.u)


def key_matrix(frame: pd.DataFrame, ids: list[str], column: str) -> FloatArray:
    """Return a column of `UnitStore.values` as units by keys, (N, 88), nan where there is none."""
    row_of = {one: row for row, one in enumerate(ids)}
    matrix = np.full((len(ids), KEY_COUNT), np.nan)
    rows = frame["measuring_id"].map(row_of)
    known = rows.notna().to_numpy()
    matrix[rows[known].astype(int).to_numpy(), frame["number"][known].to_numpy() - 1] = frame[column][known].to_numpy()
    return matrix


def group_series(
    values: FloatArray, u: FloatArray, baseline: int, group: KeyGroup, statistic: Statistic = "median"
) -> GroupSeries | None:
    """Return one group's number for every unit, None if the baseline knows none of its keys.

    values, u: units by keys, (N, 88). baseline: the first so many units say what each key is like.
    """
    columns = np.array(group.numbers) - 1
    mine, mine_u = values[:, columns], u[:, columns]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # all nan: that is what is asked for
        usual = np.nanmean(mine[:baseline], axis=0)
        known = np.isfinite(usual)
        if not known.any():
            return None
        off = mine[:, known] - usual[known]
        middle = np.nanmedian if statistic == "median" else np.nanmean
        number = usual[known].mean() + middle(off, axis=1)
        shared = np.nanmean(mine_u[:, known], axis=1)
    few = np.isfinite(off).mean(axis=1) < FEWEST_SHARE
    return GroupSeries(group, np.where(few, np.nan, number), np.where(few, np.nan, shared))
