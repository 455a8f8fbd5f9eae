"""`make bench`: what our steps cost, as ratios to a bare peer measured in the same run; and a small coverage table.

Single runs on a shared machine: differences under 15 % are noise.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from itertools import chain

import numpy as np

from benchmarks import cable, coverage, line, report_cost, store, survey
from rig.protocol.frames import FrameDecoder, encode_frame
from rig.protocol.messages import SAMPLE_DTYPE, SampleBlock
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.scenario import keyboard_of, load_scenario


def seconds(work: Callable[[], object]) -> float:
    """Return how long a piece of work takes: the best of three."""
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def decode(frames: bytes, piece: int = 4096) -> int:
    """Decode a stream in pieces as a port gives them."""
    decoder = FrameDecoder()
    return sum(len(decoder.feed(frames[start : start + piece])) for start in range(0, len(frames), piece))


def lines() -> Iterable[str]:
    """Yield what was measured, a line each."""
    samples = np.zeros(50, SAMPLE_DTYPE)
    frames = b"".join(encode_frame(SampleBlock(50 * n, samples), n) for n in range(20_000))
    decode_s, copy_s = seconds(lambda: decode(frames)), seconds(lambda: bytes(bytearray(frames)))
    yield f"decode a stream / copy its bytes twice: {decode_s / copy_s:.0f} x ({len(frames) / decode_s / 1e6:.0f} MB/s)"

    bench = Bench(BenchSpec(), keyboard_of(load_scenario("fern"))[:1])
    bench.stage.go(12.0, 4.0, 200.0)
    rig_s = seconds(lambda: bench.make_samples(2000, 0, lambda *_: None))
    yield f"virtual rig pressing a key: {2.0 / rig_s:.0f} x real time"


COVERAGE_KEYS = 200
"""Enough to tell 86 from 92 %; `make coverage` presses more."""


def coverage_lines() -> Iterable[str]:
    """Yield how often the stated intervals hold the truth, with the interval of each share."""
    rows = coverage.rows_of_keys(COVERAGE_KEYS)
    yield f"coverage of the 95 % intervals over {COVERAGE_KEYS} virtual keys, calibrations drawn anew:"
    yield from coverage.lines(rows)
    yield from coverage.sentences(rows)


if __name__ == "__main__":
    parts = (survey, line, report_cost)
    for told in chain(*(part.lines() for part in parts), lines(), cable.lines(), store.lines(), coverage_lines()):
        print(told, flush=True)
