"""`make soak`: one survey over 24 hours of a rig's time, played fast, with a fault every hour; it must end complete.

How it works: a rig of 200 samples a second rests a quarter of an hour in the air at each of its 88 keys, between slow
strokes. The cable (see `tests/spoiled_wire.py`) spoils one frame of every hour, in turn by each of its faults.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from daq.plan import plan_visits
from daq.programme import Programme, Rest, Strokes
from daq.survey import SurveyPlan, SurveyResult, Where, run_survey
from daq.talk import Progress, Talk
from recordings.keys import ALL_KEYS
from recordings.reader import open_recording
from rig.virtual.bench import BenchSpec
from rig.virtual.serve import serve
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from tests.daq.rigs import KEYS, RUN
from tests.spoiled_wire import ALL_FAULTS, SpoiledWire, spoiled_by

RATE_HZ, BLOCK = 200, 50
HOURS = 24
REST_S = HOURS * 3600 / len(ALL_KEYS) - 30.0
SPEED = 2000.0
"""More than can be simulated: as fast as it goes."""
DAY = Programme(
    name="a day", summary="strokes and long rests",
    steps=(Strokes(do="strokes", count=1), Rest(do="rest", seconds=REST_S), Strokes(do="strokes", count=1)),
)  # fmt: skip


def faults() -> dict[int, str]:
    """Return one fault for every hour, by the frame that it befalls: a block of samples a quarter of a second."""
    frames_an_hour = 3600 * RATE_HZ // BLOCK
    return {frames_an_hour * hour + 1000: ALL_FAULTS[hour % len(ALL_FAULTS)] for hour in range(HOURS)}


def survey(folder: Path) -> tuple[SurveyResult, VirtualRig, SpoiledWire]:
    """Record the day."""
    spec = RigSpec(watchdog_us=round(250_000 * SPEED), bench=BenchSpec(sample_rate_hz=RATE_HZ))
    rig = VirtualRig(KEYS, spec)
    wire = spoiled_by(rig, folder / "rig", faults(), np.random.default_rng(24))
    stop = threading.Event()
    served = threading.Thread(target=serve, args=(wire, rig), kwargs={"speed": SPEED, "until": stop.is_set})
    served.start()
    try:
        plan = SurveyPlan(visits=plan_visits(((ALL_KEYS, DAY),)), run=RUN)
        talk = Talk(progress=_tell_progress, place_rig=lambda _: None, tell=lambda said: print(f"  {said}", flush=True))
        return run_survey(Where(port_path=wire.path, out=folder / "day.h5"), plan, talk), rig, wire
    finally:
        stop.set()
        served.join()
        wire.close()


def _tell_progress(progress: Progress) -> None:
    if progress.doing == "approach" and progress.key_index % 10 == 0:
        memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"key {progress.key_index + 1}, memory {memory_mb:.0f} MB", flush=True)


def main() -> int:
    """Run the day and print whether everything is there."""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        result, rig, wire = survey(folder)
        took_s = time.monotonic() - begun
        with open_recording(folder / "day.h5") as opened:
            complete = opened.complete
            asides = sum(len(key.set_aside) for key in opened.read_keys())
        size_mb = (folder / "day.h5").stat().st_size / 1e6
    sent, found = rig.samples_numbered, result.samples_heard + result.samples_lost
    print(f"{sent / RATE_HZ / 3600:.1f} h of rig time in {took_s:.0f} s; faults: {' '.join(wire.happened)}")
    print(f"{len(result.recorded)} of {len(ALL_KEYS)} keys, {asides} attempts set aside, complete: {complete}")
    print(f"sent {sent} = heard {result.samples_heard} + told lost {result.samples_lost}: {sent == found}")
    print(f"recording {size_mb:.0f} MB, most memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    return 0 if complete and sent == found and len(result.recorded) == len(ALL_KEYS) else 1


if __name__ == "__main__":
    sys.exit(main())
