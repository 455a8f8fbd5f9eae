"""What a survey costs from its file to all numbers: against a bare read, a plain script, itself twice as long, itself
on two processes.

How it works: everything runs in a child of its own, turn by turn, so that memory is each one's own and a shared machine
slows all alike; of three turns the fastest counts. A process's memory is its peak resident set (getrusage), what it
shares with others counted in.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

import h5py

from recordings.keys import ALL_KEYS
from recordings.types import KeyRecording, RawEvents
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording

TURNS = 3
SELF, CHILDREN = resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN
AIM_READ, AIM_PLAIN, AIM_MB = 2.0, 10.0, 300.0
"""At most so many times a bare read, at least so many times faster than the plain script, at most so much memory."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What one piece of work took, without starting Python and loading libraries, but for the memory."""

    seconds: float
    cpu_s: float
    """Of all processors together, workers' included: what a busy machine changes least."""
    peak_mb: float
    worker_peak_mb: float
    """Of the largest worker; 0: none."""


def a_survey(path: Path, strokes: int = 3) -> None:
    """Write 88 synthetic keys at 5 kHz, 7.4 million samples of three strokes; three traces shared by all keys."""
    made = [a_recording(SyntheticKey(), Press(rate_hz=5000.0, seed=seed, strokes=strokes)).trace for seed in range(3)]
    keys = (KeyRecording(key, made[key.number % 3], RawEvents.none()) for key in ALL_KEYS)
    write_recording(path, a_header(), keys)


def bare_read(path: Path) -> int:
    """Read and decompress every column with h5py, nothing else."""
    with h5py.File(path) as file:
        groups = (group for name, group in file["entry"].items() if name[:4] == "key_" and name[4:].isdecimal())
        return sum(len(data[()]) for group in groups for data in group.values() if data.ndim == 1)


def measure(path: Path, workers: int) -> object:
    """Find out everything about every key."""
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    with open_recording(path) as opened:
        return analyse_file(opened, workers=workers)


def plain(path: Path) -> object:
    """Measure every key by the plain script."""
    from benchmarks.plain_script import measure_survey

    return measure_survey(path)


WORK: dict[str, Callable[[Path], object]] = {
    "bare read": bare_read,
    "one process": lambda path: measure(path, 1),
    "two processes": lambda path: measure(path, 2),
    "plain script": plain,
}


def cost_of(name: str, path: Path) -> Cost:
    """Return what a piece of work costs in a process of its own."""
    words = [sys.executable, "-m", "benchmarks.survey", name, str(path)]
    return Cost(**json.loads(subprocess.run(words, check=True, stdout=subprocess.PIPE, timeout=600).stdout))


def work_here(name: str, path: Path) -> Cost:
    """Do a piece of work on a small file first, so that all is loaded, then on the file."""
    with tempfile.TemporaryDirectory() as folder:
        small = Path(folder) / "small.h5"
        write_recording(small, a_header(), [a_recording()])
        WORK[name](small)
    begun, cpu_begun = time.perf_counter(), _cpu_s()
    WORK[name](path)
    seconds, cpu_s = time.perf_counter() - begun, _cpu_s() - cpu_begun
    own, workers = (resource.getrusage(who).ru_maxrss / 1024 for who in (SELF, CHILDREN))
    return Cost(seconds, cpu_s, own, workers)


def _cpu_s() -> float:
    used = [resource.getrusage(who) for who in (SELF, CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def lines() -> Iterable[str]:
    """Yield what was measured, a line each."""
    with tempfile.TemporaryDirectory() as folder:
        path, long = Path(folder) / "survey.h5", Path(folder) / "long.h5"
        a_survey(path)
        a_survey(long, strokes=6)
        turns = [{name: cost_of(name, path) for name in WORK} for _ in range(TURNS)]
        best = {name: min((turn[name] for turn in turns), key=lambda cost: cost.seconds) for name in WORK}
        twice = {name: cost_of(name, long) for name in ("one process", "two processes")}
    read, one, two, script = (best[name].seconds for name in WORK)
    read_cpu, one_cpu, two_cpu, script_cpu = (min(turn[name].cpu_s for turn in turns) for name in WORK)
    fastest = min(one, two)
    yield f"survey: 88 keys, 7.4 million samples: {fastest:.2f} s; bare h5py read of the same file {read:.2f} s"
    yield f"survey / bare read: {fastest / read:.1f} x (aim {AIM_READ:g}); by one process {one / read:.1f} x"
    yield (
        f"plain script / survey: {script / fastest:.1f} x (aim {AIM_PLAIN:g}); by one process {script / one:.1f} x; "
        f"the script's {script:.1f} s are {script / read:.1f} bare reads, and it tells no uncertainty"
    )
    yield f"two processes / one: {one / two:.2f} x faster; by processor time at best {2.0 * one_cpu / two_cpu:.2f} x"
    yield (
        f"by processor time: one process / bare read {one_cpu / read_cpu:.1f} x, "
        f"plain script / one process {script_cpu / one_cpu:.1f} x"
    )
    for name, cost in (("survey", best["one process"]), ("twice as long", twice["one process"])):
        yield f"peak memory, one process, {name}: {cost.peak_mb:.0f} MB (aim {AIM_MB:g})"
    for name, cost in (("survey", best["two processes"]), ("twice as long", twice["two processes"])):
        yield f"peak memory, two processes, {name}: {cost.peak_mb:.0f} MB, each worker {cost.worker_peak_mb:.0f} MB"


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(json.dumps(asdict(work_here(sys.argv[1], Path(sys.argv[2])))))
    else:
        for line in lines():
            print(line, flush=True)
