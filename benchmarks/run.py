"""`make bench`: what our steps cost, as ratios to a bare peer measured in the same run.

Single runs on a shared machine: differences under 15 % are noise.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterable
from itertools import chain
from pathlib import Path

import h5py
import numpy as np

from benchmarks import cable
from processing.display import Units
from processing.keyboard import KeyboardResult
from processing.pipeline import analyse
from processing.report.recorded import Recorded
from processing.report.write import write_report
from recordings.keys import ALL_KEYS
from recordings.reader import open_recording
from recordings.types import KeyRecording, RawEvents
from recordings.writer import write_recording
from rig.protocol.frames import FrameDecoder, encode_frame
from rig.protocol.messages import SAMPLE_DTYPE, SampleBlock
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.scenario import keyboard_of, load_scenario
from tests.builders import Press, SyntheticKey, a_header, a_recording


def seconds(work: Callable[[], object]) -> float:
    """Return how long a piece of work takes: the best of three."""
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def a_survey(path: Path) -> None:
    """Write 88 synthetic keys at 5 kHz, about 7 million samples; three traces shared by all keys."""
    made = [a_recording(SyntheticKey(), Press(rate_hz=5000.0, seed=seed)).trace for seed in range(3)]
    keys = (KeyRecording(key, made[key.number % 3], RawEvents.none()) for key in ALL_KEYS)
    write_recording(path, a_header(), keys)


def bare_read(path: Path) -> int:
    """Read and decompress every column with h5py, nothing else."""
    with h5py.File(path) as file:
        groups = (group for name, group in file["entry"].items() if name[:4] == "key_" and name[4:].isdecimal())
        return sum(len(data[()]) for group in groups for data in group.values() if data.ndim == 1)


def analysed(path: Path) -> KeyboardResult:
    """Analyse a whole recording."""
    with open_recording(path) as opened:
        return analyse(opened.header, opened.read_keys())


def decode(frames: bytes, piece: int = 4096) -> int:
    """Decode a stream in pieces as a port gives them."""
    decoder = FrameDecoder()
    return sum(len(decoder.feed(frames[start : start + piece])) for start in range(0, len(frames), piece))


def lines() -> Iterable[str]:
    """Yield what was measured, a line each."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "survey.h5"
        a_survey(path)
        read_s, measure_s = seconds(lambda: bare_read(path)), seconds(lambda: analysed(path))
        result = analysed(path)
        report_s = seconds(lambda: write_report([Recorded(result)], Path(folder) / "r", Units()))
        html, pdf = ((Path(folder) / f"r.{end}").stat().st_size / 1e6 for end in ("html", "pdf"))
    yield f"measure 88 keys / bare h5py read of the same file: {measure_s / read_s:.1f} x ({measure_s:.1f} s)"

    yield (
        f"write the report of 88 keys / measure them: {report_s / measure_s:.2f} x ({report_s:.1f} s, limit 15 s; "
        f"HTML {html:.1f} MB, limit 8 MB; PDF {pdf:.1f} MB)"
    )

    samples = np.zeros(50, SAMPLE_DTYPE)
    frames = b"".join(encode_frame(SampleBlock(50 * n, samples), n) for n in range(20_000))
    decode_s, copy_s = seconds(lambda: decode(frames)), seconds(lambda: bytes(bytearray(frames)))
    yield f"decode a stream / copy its bytes twice: {decode_s / copy_s:.0f} x ({len(frames) / decode_s / 1e6:.0f} MB/s)"

    bench = Bench(BenchSpec(), keyboard_of(load_scenario("fern"))[:1])
    bench.stage.go(12.0, 4.0, 200.0)
    rig_s = seconds(lambda: bench.make_samples(2000, 0, lambda *_: None))
    yield f"virtual rig pressing a key: {2.0 / rig_s:.0f} x real time"


if __name__ == "__main__":
    for line in chain(lines(), cable.lines()):
        print(line, flush=True)
