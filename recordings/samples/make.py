"""Makes the samples in this folder: one key of the virtual keyboard `fern` as another rig would have written it.

Run by `make samples`; seeded, so the files come out the same each time.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.scenario import keyboard_of, load_scenario

FOLDER = Path(__file__).parent
KEY_NUMBER = 40
RATE_HZ = 250
STROKES = 2


def main() -> None:
    """Press C4 twice and write samples and events."""
    key = next(key for key in keyboard_of(load_scenario("fern")) if key.number == KEY_NUMBER)
    bench = Bench(BenchSpec(sample_rate_hz=RATE_HZ), (key,))
    top = key.surface_mm - 0.6
    bench.stage.screw_mm = top
    samples, first_tick = [], 0
    for target in [top, *[key.surface_mm + 10.4, top] * STROKES]:
        bench.stage.go(target, 4.0, 200.0)
        for _ in range(round((abs(target - bench.stage.screw_mm) / 4.0 + 0.4) * RATE_HZ)):
            samples.append(bench.make_samples(1, first_tick, lambda *_: None))
            first_tick += bench.sample_period_us
    rows = np.concatenate(samples)
    events = bench.events_until(first_tick)
    scale = bench.spec.sensors
    with (FOLDER / "c4.csv").open("w", encoding="utf-8") as table:
        table.write("# C4 of the virtual keyboard fern, two slow strokes\ntime_s,displacement_mm,force_gf\n")
        for tick, force, place in rows.tolist():
            newton = force / scale.force_counts_per_newton
            table.write(f"{tick * 1e-6:.3f},{place / scale.displacement_counts_per_mm:.3f},{newton / 0.00980665:.2f}\n")
    with (FOLDER / "c4-events.csv").open("w", encoding="utf-8") as table:
        table.write("time_s,event,velocity\n")
        for (tick, _, status), (*_, velocity) in zip(events[::3].tolist(), events[2::3].tolist(), strict=True):
            table.write(f"{tick * 1e-6:.6f},{'note_on' if status == 0x90 else 'note_off'},{velocity}\n")


if __name__ == "__main__":
    main()
