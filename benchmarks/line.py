"""What inspecting a line of units costs: the verdict on a key, units per hour, two workers against one, a cluster.

How it works: units of the simulated line are recorded first. Then every way of inspecting them all is a process of its
own, turn by turn, so that a shared machine slows all alike; of three turns the fastest counts. A cluster is started
beforehand and has done a unit before it is timed, as one that is there already.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from threading import Event

import numpy as np

from keyplumb.line.recorded_units import LineRig, record_unit, recorded_key, unit_file
from keyplumb.live_judge import LiveJudge
from keyplumb.many.inspecting import inspected
from keyplumb.many.measuring import Asked
from keyplumb.many.outcomes import Done
from keyplumb.many.over_files import over_files
from processing.limits.types import Expected, LetoffLimit, Limits, Line, ValueLimit
from processing.settings import Settings
from recordings.keys import Key
from rig.virtual.line_of_units import keys_of_unit, load_line

UNITS, TURNS = 24, 3
RATES_HZ = (1000, 5000)
AIM_VERDICT_MS, AIM_SCALING = 200.0, 1.8
LINE = load_line("moss")
KEYS = frozenset(map(Key, LINE.keys))
LIMITS = Limits(
    name="a benchmark",
    expected=Expected(instrument="moss", keys=tuple(sorted(KEYS))),
    values=tuple(
        ValueLimit(measurand=name, unit=unit, lower=Line(low, low), upper=Line(high, high), keys=KEYS)
        for name, unit, low, high in (
            ("down_weight", "N", 0.45, 0.60),
            ("up_weight", "N", 0.15, 0.40),
            ("friction", "N", 0.08, 0.18),
            ("key_dip", "mm", 9.5, 10.5),
            ("letoff_peak_position", "mm", 7.5, 9.0),
            ("trigger_position", "mm", 7.5, 9.0),
        )
    ),
    letoff=LetoffLimit("found", KEYS),
)


@dataclass(frozen=True, slots=True)
class Cost:
    """What inspecting all units took, starting Python and loading libraries left out."""

    seconds: float
    cpu_s: float
    """Of this process and its workers; a cluster's are not its own, so 0 for one."""


def inspect_all(files: list[Path], *, workers: int | None = None, cluster: str | None = None) -> None:
    """Judge every unit. Raises RuntimeError if one cannot be."""
    work = partial(inspected, asked=Asked(Settings()), limits=LIMITS)
    for outcome in over_files(work, files, workers=workers, cluster=cluster):
        if not isinstance(outcome, Done):
            raise RuntimeError(outcome.reason)


def work_here(way: str, files: list[Path]) -> Cost:
    """Inspect one unit, so that all is loaded, then all of them. way: a number of workers, or a scheduler's address."""
    how = {"workers": int(way)} if way.isdecimal() else {"cluster": way}
    inspect_all(files[:1] if way.isdecimal() else files[:4], **how)  # type: ignore[arg-type]
    begun, cpu_begun = time.perf_counter(), _cpu_s()
    inspect_all(files, **how)  # type: ignore[arg-type]
    return Cost(time.perf_counter() - begun, _cpu_s() - cpu_begun if way.isdecimal() else 0.0)


def _cpu_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def cost_of(way: str, folder: Path) -> Cost:
    """Return what a way of inspecting costs in a process of its own."""
    words = [sys.executable, "-m", "benchmarks.line", way, str(folder)]
    return Cost(**json.loads(subprocess.run(words, check=True, stdout=subprocess.PIPE, timeout=600).stdout))


@contextmanager
def a_cluster() -> Iterator[str]:
    """Start two workers of one thread each and their scheduler; give its address."""
    words = [sys.executable, "-m", "benchmarks.line", "serve a cluster"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdin is not None
        assert program.stdout is not None
        yield program.stdout.readline().strip()
        program.stdin.close()


def serve_a_cluster() -> None:
    """Be a cluster until the end of the input."""
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()


def verdict_ms(rate_hz: int) -> list[float]:
    """Return how long after its last sample the verdict on each key of a unit is said in a live inspection, ms."""
    rig, said = LineRig(LINE, rate_hz), Event()
    header, recordings = rig.header(1), [recorded_key(key, rig, 1, []) for key in keys_of_unit(LINE, 1)]
    took = []
    with LiveJudge(LIMITS, lambda *_: said.set(), print, stop_on_fail=False) as watch:
        for recording in (recordings[0], *recordings):  # the first one loads libraries, and is not counted
            said.clear()
            begun = time.perf_counter()
            watch.key_done(header, recording)
            if not said.wait(60.0):
                raise TimeoutError("no verdict after a minute")
            took.append(1e3 * (time.perf_counter() - begun))
    return took[1:]


def lines() -> Iterable[str]:
    """Yield what was measured, a line each."""
    for rate_hz in RATES_HZ:
        took = verdict_ms(rate_hz)
        yield (
            f"verdict after the last sample of a key at {rate_hz} Hz: {np.median(took):.0f} ms, at worst "
            f"{max(took):.0f} ms of {len(took)} keys (aim under {AIM_VERDICT_MS:g})"
        )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for unit in range(1, UNITS + 1):
            record_unit(unit_file(folder, LINE, unit), line=LINE)
        with a_cluster() as address:
            ways = {"one": "1", "two": "2", "cluster": address}
            turns = [{name: cost_of(way, folder) for name, way in ways.items()} for _ in range(TURNS)]
    seconds = {name: min(turn[name].seconds for turn in turns) for name in ways}
    cpu = {name: min(turn[name].cpu_s for turn in turns) for name in ways}
    yield (
        f"measure and inspect {UNITS} units of {len(KEYS)} keys by two workers: {seconds['two']:.1f} s, "
        f"{3600.0 * UNITS / seconds['two']:.0f} units an hour; by processor time {7200.0 * UNITS / cpu['two']:.0f}"
    )
    yield (
        f"two workers / one: {seconds['one'] / seconds['two']:.2f} x faster (aim {AIM_SCALING:g}); "
        f"by processor time at best {2.0 * cpu['one'] / cpu['two']:.2f} x"
    )
    yield f"a local cluster of two workers / two workers: {seconds['cluster'] / seconds['two']:.2f} x the time"


if __name__ == "__main__":
    if sys.argv[1:] == ["serve a cluster"]:
        serve_a_cluster()
    elif len(sys.argv) == 3:
        print(json.dumps(asdict(work_here(sys.argv[1], sorted(Path(sys.argv[2]).glob("*.h5"))))))
    else:
        for line in lines():
            print(line, flush=True)
