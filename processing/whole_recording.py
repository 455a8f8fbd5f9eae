"""A recording from its file to all numbers, its keys in several processes where that pays.

How it works: what is found out about one key hangs on no other key until all are compared. So the keys are dealt out
in runs, a few at a time; a worker opens the file itself, measures a run and sends the results back, which keep their
order. A run on which a worker has failed is measured again here: an error is raised as if there had been no workers.
Where workers cannot be forked (`workers.py`) one process does the work, unless more are asked for.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from dataclasses import replace
from functools import partial
from pathlib import Path

from processing.calibrate import recalibrated
from processing.keyboard import KeyboardResult
from processing.pipeline import analyse, each_key, side_by_side
from processing.settings import Settings
from processing.stages import KeyResult
from processing.workers import a_pool, begun, can_be_forked, keep_memory, processors
from recordings.calibration_record import CalibrationRecord
from recordings.keys import Key
from recordings.reader import RecordingFile, open_recording

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
    keep_memory()
    count = min(len(chosen), _as_many_as_pay(opened, chosen) if workers is None else workers)
    if count <= 1:
        found = analyse(header, map(opened.read_key, chosen), settings, diary=opened.diary)
    else:
        measure_run = partial(_measure_run, opened.path, settings, record)
        results = _in_workers(measure_run, _runs(chosen, count), count)
        found = side_by_side(header, results, settings, diary=opened.diary)
    return replace(found, complete=opened.complete)


def _as_many_as_pay(opened: RecordingFile, keys: Sequence[Key]) -> int:
    forks = can_be_forked() and not multiprocessing.current_process().daemon
    if not forks or sum(opened.sample_count(key) for key in keys) < PAYS_FROM_SAMPLES:
        return 1
    return processors()


def _runs(keys: Sequence[Key], workers: int) -> list[tuple[Key, ...]]:
    runs, left = [], tuple(keys)
    while left:
        length = min(LONGEST_RUN, -(-len(left) // (2 * workers)))
        runs.append(left[:length])
        left = left[length:]
    return runs


def _in_workers(measure_run: MeasureRun, runs: list[tuple[Key, ...]], count: int) -> Iterator[KeyResult]:
    with a_pool(count) as pool:
        try:
            futures = [begun(pool, measure_run, run) for run in runs]
            for run, future in zip(runs, futures, strict=True):
                if _failed(future):
                    yield from measure_run(run)
                else:
                    yield from map(_read_only_again, future.result())
        finally:
            pool.shutdown(cancel_futures=True)


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
