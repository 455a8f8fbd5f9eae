"""Pictures of ugly keys, to be looked at: `python -m benchmarks.ugly_gallery FOLDER --keys 0-49`."""

from __future__ import annotations

import argparse
from pathlib import Path

from benchmarks.ugly_keys import ugly_key
from processing.display import Units
from processing.report.close_up import look_closely, write_close_up
from processing.settings import Settings


def main() -> None:
    """Draw the keys of some numbers."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--keys", default="0-49", help="first and last number (default 0-49)")
    parser.add_argument("--seed", type=int, default=0, help="as in benchmarks.accuracy")
    wanted = parser.parse_args()
    wanted.folder.mkdir(parents=True, exist_ok=True)
    first, last = (int(part) for part in wanted.keys.split("-"))
    for number in range(first, last + 1):
        key = ugly_key(number, wanted.seed)
        seen = look_closely(key.recording, key.calibration, Settings())
        known = {name: key.truths.get(name) for name in ("letoff_peak_position", "letoff_rise", "letoff_drop")}
        truth = ", ".join(f"{name} {value:.3f}" for name, value in known.items() if value is not None)
        title = f"key {number}: {key.group}, let-off {key.manner}; truly {truth or 'none'}"
        write_close_up(wanted.folder / f"{number:04}.png", seen, Units(), title)


if __name__ == "__main__":
    main()
