"""Processes that work for us: how many there may be, how they start, what they leave to their parent.

How it works: on Linux workers are forked: they begin at once with all that is loaded. Where that is not safe (other
systems, a program with threads of its own) they start afresh.
"""

from __future__ import annotations

import ctypes
import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
"""As in malloc.h of the GNU C library."""
KEPT_BYTES = 32 * 2**20
"""The arrays of a key of a hundred thousand samples, and the most that M_MMAP_THRESHOLD may be."""


def can_be_forked() -> bool:
    """Tell whether workers of this process may be forked."""
    return sys.platform == "linux" and threading.active_count() == 1


def processors() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1


def a_pool(count: int) -> ProcessPoolExecutor:
    """Return so many workers; they start with the first piece of work."""
    how = multiprocessing.get_context("fork" if can_be_forked() else "spawn")
    return ProcessPoolExecutor(count, how, _be_a_worker)


def begun(pool: ProcessPoolExecutor, work: Callable[P, T], *what: P.args, **how: P.kwargs) -> Future[T]:
    """Return the future of a piece of work; where the workers are dead already, one that has failed."""
    try:
        with warnings.catch_warnings():  # numpy's idle threads; its libraries are made to be forked
            warnings.filterwarnings("ignore", ".*multi-threaded, use of fork", DeprecationWarning)
            return pool.submit(work, *what, **how)
    except BrokenProcessPool as broken:
        failed: Future[T] = Future()
        failed.set_exception(broken)
        return failed


def keep_memory() -> None:
    """Let this process keep up to KEPT_BYTES that it does not need just now.

    The C library gives memory back to the system whenever a long array is done with, and the next one has to be had
    page by page: over a thousand times a key, and a tenth of a worker's time.
    """
    if sys.platform == "linux" and (mallopt := getattr(ctypes.CDLL(None), "mallopt", None)):
        for parameter in (M_TRIM_THRESHOLD, M_MMAP_THRESHOLD):
            mallopt(parameter, KEPT_BYTES)


def _be_a_worker() -> None:
    """Leave Ctrl-C, which reaches every process of a terminal, to the parent; and keep memory once it is there."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    keep_memory()
