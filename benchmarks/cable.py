"""What the cable side costs: a stream through a real pseudo-terminal to the disk, against peers in the same run."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import serial

from daq.link import Link
from daq.port import open_port
from daq.recorder import Recorder
from recordings.keys import Key
from recordings.partial import begin_recording, partial_folder
from rig.protocol.messages import SAMPLE_DTYPE
from tests.builders import a_header

BYTES_PER_SAMPLE = 12.4
STRETCH_S = 5.0
"""How often a stroke ends, and its part is made safe."""


@dataclass(frozen=True, slots=True)
class FarEnd:
    """A program that will write a stream, and how long the stream is."""

    path: str
    byte_count: int
    begin: Callable[[], None]


@contextmanager
def a_far_end(samples: int, bytes_per_s: float = 0.0) -> Iterator[FarEnd]:
    """Start the writer; it waits until it is told to begin."""
    master, slave = os.openpty()
    tty.setraw(slave)
    words = [sys.executable, "-m", "benchmarks.far_end", str(master), str(samples), str(bytes_per_s)]
    with subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, pass_fds=(master,)
    ) as writer:
        assert writer.stdin is not None
        assert writer.stdout is not None
        stdin = writer.stdin

        def begin() -> None:
            stdin.write("\n")
            stdin.flush()

        yield FarEnd(os.ttyname(slave), int(writer.stdout.readline()), begin)
        writer.kill()
    os.close(master)
    os.close(slave)


def bare_loop_s(samples: int) -> float:
    """Read the same stream with pyserial alone and throw it away."""
    with a_far_end(samples) as far, serial.Serial(far.path, timeout=0.005) as port:
        far.begin()
        begun, heard = time.perf_counter(), 0
        while heard < far.byte_count:
            heard += len(port.read(max(1, port.in_waiting)))
        return time.perf_counter() - begun


@dataclass(frozen=True, slots=True)
class Recorded:
    """How a stream was recorded."""

    seconds: float
    cpu_s: float
    byte_count: int
    sample_count: int
    damage_count: int
    memory_mb: tuple[float, ...]
    """Most memory used so far, at every tenth of the stream."""


def record(samples: int, bytes_per_s: float, folder: Path) -> Recorded:
    """Record a stream to the disk, a stretch made safe every few seconds, as a survey does."""
    recorder, path = Recorder(), folder / "r.h5"
    file = begin_recording(path, a_header())
    recorder.open(file)
    recorder.begin_key(Key(40))
    memory: list[float] = []
    with a_far_end(samples, bytes_per_s) as far, Link(open_port(far.path), recorder.add):
        far.begin()
        begun, cpu, stretch_ends = time.perf_counter(), time.process_time(), time.perf_counter() + STRETCH_S
        while recorder.sample_count < samples:
            time.sleep(0.01)
            if time.perf_counter() > stretch_ends:
                stretch_ends += STRETCH_S
                recorder.end_stretch("a stretch")
            if recorder.sample_count >= samples * (len(memory) + 1) / 10:
                memory.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        seconds, cpu_s = time.perf_counter() - begun, time.process_time() - cpu
        byte_count = far.byte_count
    recorder.close()
    file.abandon()
    for part in partial_folder(path).iterdir():
        part.unlink()
    partial_folder(path).rmdir()
    return Recorded(seconds, cpu_s, byte_count, recorder.sample_count, recorder.damage_count, tuple(memory))


def copy_s(samples: int) -> float:
    """Copy the decoded samples once in memory."""
    decoded = np.zeros(samples, SAMPLE_DTYPE)
    begun = time.perf_counter()
    decoded.copy()
    return time.perf_counter() - begun


def lines() -> Iterable[str]:
    """Yield what was measured, a line each."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        minute = record(round(62e6 / BYTES_PER_SAMPLE) // 50 * 50, 1e6, folder)
        yield (
            f"1 MB/s for {minute.seconds:.0f} s: {minute.byte_count / minute.seconds / 1e6:.2f} MB/s, "
            f"{minute.sample_count} samples stored, {minute.damage_count} reports of damage, "
            f"{minute.cpu_s / minute.seconds:.1%} of one core, storing included"
        )
        samples = 8_000_000
        ceiling, bare_s, copied_s = record(samples, 0.0, folder), bare_loop_s(samples), copy_s(samples)
        rate = ceiling.byte_count / 1e6
        yield (
            f"ceiling: {rate / ceiling.seconds:.1f} MB/s stored; bare read loop {rate / bare_s:.1f} MB/s; "
            f"ratio {bare_s / ceiling.seconds:.2f}; {ceiling.seconds / copied_s:.0f} x a copy of the decoded samples"
        )
        hour = record(3_600_000, 0.0, folder)
        grown = hour.memory_mb[-1] - hour.memory_mb[0]
        yield f"memory over an hour of 1 kHz, played fast: {hour.memory_mb[0]:.0f} MB, grown by {grown:.1f} MB"


if __name__ == "__main__":
    for line in lines():
        print(line, flush=True)
