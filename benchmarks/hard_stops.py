"""`make hard-stops`: 200 recordings under way killed with `kill -9` at random instants, and what was left of them."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.hard_stops import HardStop, hard_stop


def main() -> int:
    """Run, print, and return 1 if a finished stroke was lost or more than a second of the running one."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=200)
    stops: list[HardStop] = []
    wanted = parser.parse_args().runs
    while sum(stop.began for stop in stops) < wanted:  # some are killed before their program has begun a recording
        with tempfile.TemporaryDirectory() as folder:
            stops.append(hard_stop(Path(folder), 1000 + len(stops)))
    began = [stop for stop in stops if stop.began]
    lost_s = np.array([stop.lost_s for stop in began if stop.lost_s is not None])
    torn = sum(stop.torn_parts for stop in began)
    unnamed = sum(max(0, stop.finished_parts - stop.marks) for stop in began)
    print(f"{len(stops)} surveys killed, {len(began)} of them with a recording under way")
    print(
        f"finished stretches: {sum(stop.finished_parts for stop in began)}, torn {torn}, not in the recording {unnamed}"
    )
    print(
        f"killed in a key: {len(lost_s)} times; lost of it {np.median(lost_s) * 1e3:.1f} ms in the median, "
        f"{lost_s.max() * 1e3:.1f} ms at most"
    )
    return 1 if torn or unnamed or lost_s.max() >= 1.0 else 0


if __name__ == "__main__":
    sys.exit(main())
