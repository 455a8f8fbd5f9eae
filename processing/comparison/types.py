"""What a comparison is: frozen results that a report, JSON and tables are made of. Units N, mm, mJ as in FEATURES."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from processing.comparison.curves import CurveBand
from processing.comparison.noticed import Noticed
from processing.comparison.paired import MeanDifference, Paired
from processing.comparison.presence import Presence
from processing.comparison.regions import Region
from processing.comparison.settings import ComparisonSettings
from processing.keyboard import KeyboardResult
from processing.statistics.keyboard_statistics import KeyboardStatistics
from processing.statistics.scatter import SpreadRatio

Verdict = Literal["different", "alike", "open"]
"""Surely different; surely within the margin; neither: more keys or strokes would tell."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One measurand of one colour in one region: second less first."""

    name: str
    unit: str
    colour: str
    region: Region
    keys: int
    first: float
    """Mean of the first keyboard over the keys that both have."""
    second: float
    mean: MeanDifference
    p_family: float
    """Probability of so much by chance, among all tests of the comparison (Holm)."""
    verdict: Verdict
    margin: float | None
    """Up to which a difference is as good as none; None: nobody has said."""
    p_alike: float | None
    """Of two one-sided tests against the margin, by itself."""
    noticed: Noticed | None
    """The guide for a hand; None: it knows nothing of such a measurand."""
    within_margin: bool = False
    """Surely within the margin, whatever the verdict: a difference may be sure and small."""


@dataclass(frozen=True, slots=True)
class Evenness:
    """How unevenly the keys of one colour lie about their trend, second against first."""

    name: str
    unit: str
    colour: str
    first: float
    second: float
    """Standard deviations of the keys, the rig's own part taken out."""
    ratio: SpreadRatio
    p_family: float
    different: bool


@dataclass(frozen=True, slots=True)
class PresenceDiffers:
    """A part that one keyboard has on more keys than the other."""

    presence: Presence
    p_family: float
    different: bool


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A key that takes no part in means: it stands out in one of the two."""

    number: int
    stands_out_in: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PairComparison:
    """Two keyboards."""

    first: str
    second: str
    """What they are called."""
    one_record: bool
    """Both rest on the same calibration record."""
    keys: tuple[int, ...]
    """Numbers of the keys that both have."""
    left_out: tuple[LeftOut, ...]
    differences: tuple[Difference, ...]
    evenness: tuple[Evenness, ...]
    presences: tuple[PresenceDiffers, ...]
    bands: tuple[CurveBand, ...]
    paired: tuple[Paired, ...]
    """Key by key, for pictures: a measurand and colour each."""

    def difference(self, name: str, colour: str, region: str) -> Difference | None:
        """Return one difference, None if it could not be had."""
        wanted = (name, colour, region)
        return next((one for one in self.differences if (one.name, one.colour, one.region.name) == wanted), None)


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Two or more keyboards: each but the first against the first."""

    labels: tuple[str, ...]
    results: tuple[KeyboardResult, ...]
    statistics: tuple[KeyboardStatistics, ...]
    pairs: tuple[PairComparison, ...]
    tests: int
    """In the family."""
    margins: dict[str, float]
    settings: ComparisonSettings
    cautions: tuple[str, ...]
    """What a reader must know before believing it."""
