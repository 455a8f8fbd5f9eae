"""`make accuracy`: how far the numbers are from the truth, over keys and rigs of every ugliness.

How it works: `ugly_keys.py` records virtual keys by the thousand; each is measured as any recording is and held against
what the model knows. Two tables of bias, median and 95th percentile of |error|, share missing and share wrong without a
flag (by more than four standard uncertainties): motor and hand on the default rig, then on any rig. Then the let-off:
found where the model's rise and drop are 0.05 N at least, invented where it has none; each share with its 95 % interval
(Clopper & Pearson, Biometrika 26:404, 1934; by scipy). The exit code is 1 if an aim is missed; aims are for the default
rig, by hand twice those by motor.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from multiprocessing import Pool

import numpy as np
from scipy.stats import binomtest

from benchmarks.coverage import NEWTON_PER_GF, shown
from benchmarks.ugly_keys import GROUPS, Group, LetOffManner, UglyKey, ugly_key
from processing.features.table import FEATURES
from processing.pipeline import analyse_key
from processing.settings import Settings

SURE_NEWTON = 0.05
"""A let-off whose rise and drop are this large must be found."""
FAR_OFF = 4.0
"""Standard uncertainties: a number further off than this, without a flag, is wrong."""
AIMS = {
    "weights": (0.3 * NEWTON_PER_GF, 1.0 * NEWTON_PER_GF),
    "positions": (0.01, 0.04),
    "rise and drop": (0.005, 0.02),
}
"""Median and 95th percentile of |error| on the default rig, by motor; N or mm."""
FOUND_AT_LEAST, INVENTED_AT_MOST, WRONG_AT_MOST = 0.99, 0.001, 0.005
WEIGHTS = (
    "down_weight", "up_weight", "balance_weight", "friction", "weight_to_letoff", "weight_to_note", "lift_weight",
    "breakaway", "damper_step",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """One number of one key beside its truth."""

    name: str
    group: Group
    value: float | None
    truth: float | None
    u: float | None
    flagged: bool

    @property
    def wrong(self) -> bool:
        """Far off, and nothing said so."""
        if self.value is None or self.truth is None or self.flagged:
            return False
        return abs(self.value - self.truth) > FAR_OFF * (self.u or 0.0)


@dataclass(frozen=True, slots=True)
class ToldKey:
    """One measured key."""

    number: int
    group: Group
    manner: LetOffManner
    letoff: str
    truly: str
    """found, none, or faint: too small to be asked for."""
    numbers: tuple[Told, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """How one measurand came out in one group, in its own unit."""

    name: str
    unit: str
    group: Group
    count: int
    bias: float
    median: float
    percentile_95: float
    missing: float
    wrong: float
    aim: tuple[float, float] | None

    @property
    def missed(self) -> bool:
        """Whether an aim is missed."""
        return self.aim is not None and (self.median > self.aim[0] or self.percentile_95 > self.aim[1])


@dataclass(frozen=True, slots=True)
class Share:
    """A share of keys or numbers, with its interval and what it should be."""

    what: str
    hits: int
    of: int
    least: float
    most: float

    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval of the share."""
        low, high = binomtest(self.hits, self.of).proportion_ci(0.95, "exact")
        return float(low), float(high)

    @property
    def missed(self) -> bool:
        """Whether the share itself is outside of what it should be."""
        return not self.least <= self.hits / self.of <= self.most


def tell(number: int, seed: int) -> ToldKey:
    """Record, measure and hold one key against its truth: what a worker does."""
    key = ugly_key(number, seed)
    result = analyse_key(key.recording, key.calibration, Settings())
    numbers = tuple(
        Told(one.name, key.group, one.value, key.truths.get(one.name), one.u, bool(one.flags))
        for one in result.measurements
    )
    return ToldKey(number, key.group, key.manner, result.letoff, _truly(key), numbers)


def _truly(key: UglyKey) -> str:
    rise, drop = key.truths.get("letoff_rise"), key.truths.get("letoff_drop")
    if rise is None or drop is None:
        return "none"
    return "found" if min(rise, drop) >= SURE_NEWTON else "faint"


def rows_of(keys: Sequence[ToldKey]) -> list[Row]:
    """Return a row per measurand and group of which the model knows truths."""
    rows = []
    for feature in FEATURES:
        for group in GROUPS:
            told = [one for key in keys if key.group == group for one in key.numbers if one.name == feature.name]
            told = [one for one in told if one.truth is not None]
            if any(one.value is not None for one in told):
                rows.append(_row(feature.name, feature.unit, group, told))
    return rows


def _row(name: str, unit: str, group: Group, told: list[Told]) -> Row:
    errors = np.array([one.value - one.truth for one in told if one.value is not None and one.truth is not None])
    sizes = np.abs(errors)
    return Row(
        name,
        unit,
        group,
        len(told),
        float(errors.mean()),
        float(np.median(sizes)),
        float(np.percentile(sizes, 95)),
        sum(one.value is None for one in told) / len(told),
        sum(one.wrong for one in told) / len(told),
        aim_of(name, unit, group),
    )


def aim_of(name: str, unit: str, group: Group) -> tuple[float, float] | None:
    """Return what median and 95th percentile of |error| should be, None where nothing was aimed at."""
    if "any" in group:
        return None
    twice = 2.0 if group.startswith("hand") else 1.0
    kind = "rise and drop" if name in ("letoff_rise", "letoff_drop") else "positions" if unit == "mm" else ""
    kind = "weights" if name in WEIGHTS else kind
    return (twice * AIMS[kind][0], twice * AIMS[kind][1]) if kind else None


def shares_of(keys: Sequence[ToldKey]) -> list[Share]:
    """Return how often let-offs were found and invented, and how often a number was wrong, by group."""
    shares = []
    for group in GROUPS:
        here = [key for key in keys if key.group == group]
        found = [key.letoff == "found" for key in here if key.truly == "found"]
        invented = [key.letoff == "found" for key in here if key.truly == "none"]
        wrong = [one.wrong for key in here for one in key.numbers if None not in (one.value, one.truth)]
        shares += [
            Share(f"let-off of 0.05 N or more found, {group}", sum(found), len(found), FOUND_AT_LEAST, 1.0),
            Share(f"let-off invented, {group}", sum(invented), len(invented), 0.0, INVENTED_AT_MOST),
            Share(f"number wrong without a flag, {group}", sum(wrong), len(wrong), 0.0, WRONG_AT_MOST),
        ]
    return [share for share in shares if share.of]


def lines(rows: Iterable[Row], shares: Iterable[Share]) -> Iterable[str]:
    """Yield the tables for people: forces in gf, ways in um, works in uJ."""
    yield f"{'':23}{'group':19}{'keys':>5}{'bias':>9}{'median':>9}{'95 %':>9} {'unit':6}{'missing':>8}{'wrong':>7}  aim"
    for row in rows:
        factor, unit = shown(row.unit)
        sizes = "".join(f"{factor * size:9.3f}" for size in (row.bias, row.median, row.percentile_95))
        aim = f"{factor * row.aim[0]:g}, {factor * row.aim[1]:g}" if row.aim else ""
        yield (
            f"{row.name:23}{row.group:19}{row.count:5}{sizes} {unit:6}{row.missing:8.1%}{row.wrong:7.1%}  "
            f"{aim}{'  MISSED' if row.missed else ''}"
        )
    for share in shares:
        low, high = share.interval()
        yield (
            f"{share.what:50}{share.hits:6} of {share.of:6} = {share.hits / share.of:7.2%}  ({low:.2%} to {high:.2%})"
            f"{'  MISSED' if share.missed else ''}"
        )


def main() -> int:
    """Print the tables; 1 if an aim is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keys", type=int, default=2400, help="how many virtual keys (default 2400)")
    parser.add_argument("--seed", type=int, default=0, help="other keys, other noise")
    parser.add_argument("--json", action="store_true", help="the keys as JSON, in N, mm and mJ")
    wanted = parser.parse_args()
    with Pool(os.cpu_count()) as pool:
        keys = pool.map(partial(tell, seed=wanted.seed), range(wanted.keys), chunksize=4)
    rows, shares = rows_of(keys), shares_of(keys)
    if wanted.json:
        print(json.dumps({"schema": "keyplumb.accuracy/1", "keys": [asdict(key) for key in keys]}))
    else:
        print("\n".join(lines(rows, shares)))
    return int(any(row.missed for row in rows) or any(share.missed for share in shares))


if __name__ == "__main__":
    sys.exit(main())
