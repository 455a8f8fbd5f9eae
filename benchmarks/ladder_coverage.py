"""`make coverage-dynamics`: do the intervals of dynamic numbers hold the truth 95 times in a hundred?

How it works: as `coverage.py`, over keys that were pressed as the programme `full` presses them (`virtual_ladders.py`)
or, with --hand, by a hand that also presses fast.
"""

from __future__ import annotations

import argparse
import os
import sys
from functools import partial
from multiprocessing import Pool

from benchmarks.coverage import Held, lines, rows_of
from benchmarks.virtual_ladders import virtual_hand, virtual_ladder
from processing.dynamics.sources import DYNAMIC
from processing.pipeline import analyse_key
from processing.settings import Settings
from rig.virtual.scenario import is_sharp

SHOWN = (*DYNAMIC, "key_dip", "trigger_position", "release_position", "release_height", "trigger_margin")


def hold_number(number: int, seed: int, *, by_hand: bool) -> list[Held]:
    """Record, measure and hold one key: what a worker does."""
    pressed = (virtual_hand if by_hand else virtual_ladder)(number, seed)
    result = analyse_key(pressed.recording, pressed.calibration, Settings())
    group = f"{'hand' if by_hand else 'motor'} {'sharp' if is_sharp(pressed.key.number) else 'natural'}"
    told = (result[name] for name in SHOWN if name in pressed.truths)
    return [Held(one.name, group, one.value, pressed.truths[one.name], one.expanded) for one in told]


def main() -> int:
    """Print the table; 1 if a measurand's intervals cover less than 92 % or more than 98 % beyond doubt."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keys", type=int, default=200, help="how many virtual keys (default 200)")
    parser.add_argument("--seed", type=int, default=0, help="other keys, other noise")
    parser.add_argument("--hand", action="store_true", help="pressed by hand")
    wanted = parser.parse_args()
    with Pool(os.cpu_count()) as pool:
        held = pool.map(partial(hold_number, seed=wanted.seed, by_hand=wanted.hand), range(wanted.keys), chunksize=4)
    rows = rows_of(one for key in held for one in key)
    print("\n".join(lines(rows)))
    return int(any(row.verdict for row in rows))


if __name__ == "__main__":
    sys.exit(main())
