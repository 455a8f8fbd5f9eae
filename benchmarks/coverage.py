"""`make coverage`: do the stated 95 % intervals hold the truth 95 times in a hundred?

How it works: virtual keys are recorded (`virtual_keys.py`), measured as any recording is, and each number is held
against what the model knows. The share of intervals that hold their truth is itself only an estimate; beside it stands
its own 95 % interval (Clopper & Pearson, Biometrika 26:404, 1934; by scipy). Read `narrow`: the share is below 92 %
beyond doubt, the uncertainty claims too much. `wide`: it is above 98 % beyond doubt, the uncertainty claims too little.
The same is asked of each of the four groups, motor and hand, naturals and sharps; since that makes some 120 questions,
a group is called off only beyond a doubt of 0.05 over their number (Bonferroni), or chance alone would call some.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from functools import partial
from multiprocessing import Pool

import numpy as np
from scipy.stats import binomtest

from benchmarks.virtual_keys import VirtualKey, virtual_key
from processing.calibration_doubt import doubt_of
from processing.features.table import FEATURES
from processing.pipeline import analyse_key
from processing.settings import Settings

LOWEST, HIGHEST = 0.92, 0.98
"""What a 95 % interval should cover."""
NEWTON_PER_GF = 0.00980665
GROUPS = ("motor natural", "motor sharp", "hand natural", "hand sharp")


@dataclass(frozen=True, slots=True)
class Held:
    """One number held against its truth."""

    name: str
    group: str
    value: float | None
    truth: float | None
    expanded: float | None

    @property
    def covered(self) -> bool:
        return None not in (self.value, self.truth) and abs(self.value - self.truth) <= (self.expanded or 0.0)


@dataclass(frozen=True, slots=True)
class Row:
    """How one measurand came out, in its own unit."""

    name: str
    unit: str
    count: int
    bias: float
    median_error: float
    median_expanded: float
    covered: float
    covered_from: float
    covered_to: float
    verdict: str
    """Of all keys together: "narrow", "wide" or nothing."""
    by_group: dict[str, float]
    groups_off: dict[str, str]
    """Groups that are narrow or wide by themselves."""
    missing: int
    invented: int


def hold(key: VirtualKey, settings: Settings) -> list[Held]:
    """Measure a key and return each number beside its truth."""
    doubt = doubt_of(key.calibration.record, room_celsius=None)
    result = analyse_key(key.recording, key.calibration, settings, doubt)
    group = f"{key.who} {'sharp' if key.sharp else 'natural'}"
    return [
        Held(told.name, group, told.value, key.truths.get(told.name), told.expanded) for told in result.measurements
    ]


def hold_number(number: int, seed: int) -> list[Held]:
    """Record, measure and hold one key: what a worker does."""
    return hold(virtual_key(number, seed), Settings())


def rows_of(held: Iterable[Held]) -> list[Row]:
    """Return one row per measurand of which the model knows a truth."""
    by_name = defaultdict(list)
    for one in held:
        by_name[one.name].append(one)
    rows = [_row(feature.name, feature.unit, by_name[feature.name]) for feature in FEATURES if by_name[feature.name]]
    return [row for row in rows if row.count]


def _row(name: str, unit: str, held: list[Held]) -> Row:
    both = [one for one in held if one.value is not None and one.truth is not None]
    missing = sum(one.value is None and one.truth is not None for one in held)
    invented = sum(one.value is not None and one.truth is None for one in held)
    if not both:
        return Row(name, unit, 0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, "", {}, {}, missing, invented)
    errors = np.array([one.value - one.truth for one in both])
    share, low, high = _covered(both)
    of_group = {group: [one for one in both if one.group == group] for group in GROUPS}
    sure = 1.0 - 0.05 / (len(FEATURES) * len(GROUPS))
    shares = {group: _covered(some, sure) for group, some in of_group.items() if some}
    return Row(
        name,
        unit,
        len(both),
        float(errors.mean()),
        float(np.median(np.abs(errors))),
        float(np.median([one.expanded or 0.0 for one in both])),
        share,
        low,
        high,
        verdict(low, high),
        {group: of_it for group, (of_it, _, _) in shares.items()},
        {group: off for group, (_, *interval) in shares.items() if (off := verdict(*interval))},
        missing,
        invented,
    )


def _covered(held: list[Held], sure: float = 0.95) -> tuple[float, float, float]:
    """Return the share of intervals that hold their truth, and the interval of that share."""
    hits = sum(one.covered for one in held)
    low, high = binomtest(hits, len(held)).proportion_ci(sure, "exact")
    return hits / len(held), float(low), float(high)


def verdict(low: float, high: float) -> str:
    """Return what an interval of the covered share says: empty, if it may well lie within 92 to 98 %."""
    if high < LOWEST:
        return "narrow"
    return "wide" if low > HIGHEST else ""


def lines(rows: list[Row]) -> Iterable[str]:
    """Yield the table for people: forces in gf, ways in um, works in uJ."""
    yield (
        f"{'':22}{'keys':>5}{'bias':>9}{'|error|':>9}{'U95':>9} {'unit':6}{'covered':>8}{'its interval':>15}  "
        f"{'':7}{'   '.join(GROUPS)}   missing invented"
    )
    for row in rows:
        factor, unit = shown(row.unit)
        sizes = "".join(f"{factor * size:9.3f}" for size in (row.bias, row.median_error, row.median_expanded))
        shares = "".join(f"{row.by_group.get(group, np.nan):{len(group) + 3}.1%}" for group in GROUPS)
        yield (
            f"{row.name:22}{row.count:5}{sizes} {unit:6}{row.covered:8.1%}"
            f"{row.covered_from:8.1%}..{row.covered_to:.1%}  {row.verdict:4}{shares}{row.missing:10}{row.invented:9}"
        )


def shown(unit: str) -> tuple[float, str]:
    """Return a factor and the unit in which a table for people shows one of ours."""
    gram_force = 1.0 / NEWTON_PER_GF
    units = {"N": (gram_force, "gf"), "N/mm": (gram_force, "gf/mm"), "mm": (1000.0, "um"), "mJ": (1000.0, "uJ")}
    return units.get(unit, (1.0, unit))


def rows_of_keys(keys: int, seed: int = 0) -> list[Row]:
    """Return the table of so many virtual keys, on all cores."""
    with Pool(os.cpu_count()) as pool:
        held = pool.map(partial(hold_number, seed=seed), range(keys), chunksize=4)
    return rows_of(one for key in held for one in key)


def sentences(rows: list[Row]) -> Iterable[str]:
    """Yield what the table comes to."""
    off = [row.name for row in rows if row.verdict]
    yield f"{len(rows) - len(off)} of {len(rows)} measurands are covered 92 to 98 % of the time, within chance."
    groups_off = [f"{row.name} by {group}: {off}" for row in rows for group, off in row.groups_off.items()]
    groups = sum(len(row.by_group) for row in rows)
    yield f"{groups - len(groups_off)} of {groups} groups of them likewise" + (
        "; not " + ", ".join(groups_off) if groups_off else "."
    )


def main() -> int:
    """Print the table; 1 if intervals cover less than 92 % or more than 98 % beyond doubt, all keys or a group."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keys", type=int, default=1200, help="how many virtual keys (default 1200)")
    parser.add_argument("--seed", type=int, default=0, help="other keys, other noise")
    parser.add_argument("--json", action="store_true", help="the rows as JSON, in N, mm and mJ")
    wanted = parser.parse_args()
    rows = rows_of_keys(wanted.keys, wanted.seed)
    if wanted.json:
        print(json.dumps({"schema": "keyplumb.coverage/1", "keys": wanted.keys, "rows": [asdict(row) for row in rows]}))
    else:
        print("\n".join([*lines(rows), *sentences(rows)]))
    return int(any(row.verdict or row.groups_off for row in rows))


if __name__ == "__main__":
    sys.exit(main())
