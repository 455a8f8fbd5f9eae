"""A recording from its file to all numbers, its keys in several processes where that pays.

How it works: what is found out about one key hangs on no other key until all are compared. So the keys are dealt out
in runs, a few at a time; a worker opens the file itself, measures a run and sends the results back, which keep their
order. A run on which a worker has failed is measured again here: an error is raised as if there had been no workers.
Workers are forked: they begin at once with all that is loaded. Where that is not safe (other systems than Linux, a
program with threads of its own) one process does the work, unless more are asked for; then they start afresh.
"""

from __future__ import annotations

import ctypes
import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from functools import partial
from multiprocessing.context import BaseContext
from pathlib import Path

from processing.calibrate import recalibrated
from processing.keyboard import KeyboardResult
from processing.pipeline import analyse, each_key, side_by_side
from processing.settings import Settings
from processing.stages import KeyResult
from recordings.calibration_record import CalibrationRecord
from recordings.keys import Key
from recordings.reader import RecordingFile, open_recording

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
"""As in malloc.h of the GNU C library."""
KEPT_BYTES = 32 * 2**20
"""The arrays of a key of a hundred thousand samples, and the most that M_MMAP_THRESHOLD may be."""
MeasureRun = Callable[[Sequence[Key]], tuple[KeyResult, ...]]
PAYS_FROM_SAMPLES = 400_000
"""Two processes need a tenth of a second to begin and to send results; so many samples take longer than that."""
LONGEST_RUN = 8
"""Keys in a run: opening the file costs a fifth of a key. The last runs are shorter, so that all end together."""


def analyse_file(
    opened: RecordingFile,
    settings: Settings | None = None,
    *,
    keys: Sequence[Key] | None = None,
    record: CalibrationRecord | None = None,
    workers: int | None = None,
) -> KeyboardResult:
    """Return the results of an open recording, the same ones however many processes there are.

    keys: which; None: all. record: a calibration in place of the recording's own. workers: processes; None: one for
    each processor where the recording has PAYS_FROM_SAMPLES and they can be forked, else one.
    Raises as open_recording, read_key and analyse.
    """
    chosen = opened.keys if keys is None else tuple(keys)
    header = recalibrated(opened.header, record)
    _keep_memory()
    count = min(len(chosen), _as_many_as_pay(opened, chosen) if workers is None else workers)
    if count <= 1:
        found = analyse(header, map(opened.read_key, chosen), settings, diary=opened.diary)
    else:
        measure_run = partial(_measure_run, opened.path, settings, record)
        results = _in_workers(measure_run, _runs(chosen, count), count)
        found = side_by_side(header, results, settings, diary=opened.diary)
    return replace(found, complete=opened.complete)


def _as_many_as_pay(opened: RecordingFile, keys: Sequence[Key]) -> int:
    forks = sys.platform == "linux" and threading.active_count() == 1 and not multiprocessing.current_process().daemon
    if not forks or sum(opened.sample_count(key) for key in keys) < PAYS_FROM_SAMPLES:
        return 1
    return len(os.sched_getaffinity(0))


def _runs(keys: Sequence[Key], workers: int) -> list[tuple[Key, ...]]:
    runs, left = [], tuple(keys)
    while left:
        length = min(LONGEST_RUN, -(-len(left) // (2 * workers)))
        runs.append(left[:length])
        left = left[length:]
    return runs


def _in_workers(measure_run: MeasureRun, runs: list[tuple[Key, ...]], count: int) -> Iterator[KeyResult]:
    with ProcessPoolExecutor(count, _how_to_start(), _be_a_worker) as pool:
        try:
            with warnings.catch_warnings():  # numpy's idle threads; its libraries are made to be forked
                warnings.filterwarnings("ignore", ".*multi-threaded, use of fork", DeprecationWarning)
                futures = [_begun(pool, measure_run, run) for run in runs]
            for run, future in zip(runs, futures, strict=True):
                if _failed(future):
                    yield from measure_run(run)
                else:
                    yield from map(_read_only_again, future.result())
        finally:
            pool.shutdown(cancel_futures=True)


def _begun(pool: ProcessPoolExecutor, measure_run: MeasureRun, run: tuple[Key, ...]) -> Future[tuple[KeyResult, ...]]:
    """Return a run's future; where the workers are dead already, one that has failed."""
    try:
        return pool.submit(measure_run, run)
    except BrokenProcessPool as broken:
        failed: Future[tuple[KeyResult, ...]] = Future()
        failed.set_exception(broken)
        return failed


def _how_to_start() -> BaseContext:
    forks = sys.platform == "linux" and threading.active_count() == 1
    return multiprocessing.get_context("fork" if forks else "spawn")


def _be_a_worker() -> None:
    """Leave Ctrl-C, which reaches every process of a terminal, to the parent; and keep memory once it is there."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _keep_memory()


def _keep_memory() -> None:
    """Let this process keep up to KEPT_BYTES that it does not need just now.

    The C library gives memory back to the system whenever a long array is done with, and the next one has to be had
    page by page: over a thousand times a key, and a tenth of a worker's time.
    """
    if sys.platform == "linux" and (mallopt := getattr(ctypes.CDLL(None), "mallopt", None)):
        for parameter in (M_TRIM_THRESHOLD, M_MMAP_THRESHOLD):
            mallopt(parameter, KEPT_BYTES)


def _measure_run(
    path: Path, settings: Settings | None, record: CalibrationRecord | None, keys: Sequence[Key]
) -> tuple[KeyResult, ...]:
    with open_recording(path) as opened:
        return tuple(each_key(recalibrated(opened.header, record), map(opened.read_key, keys), settings))


def _failed(future: Future[tuple[KeyResult, ...]]) -> bool:
    """Wait for a run and tell whether its worker failed, or died."""
    return future.exception() is not None


def _read_only_again(result: KeyResult) -> KeyResult:
    """Return a result whose arrays are read-only, which they are not after the way between processes."""
    curve = None if result.curve is None else replace(result.curve)
    return replace(result, curve=curve, stroke_curves=tuple(replace(curve) for curve in result.stroke_curves))
