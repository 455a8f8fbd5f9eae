"""The way in: one piece of work for many files, here or on a cluster; the outcomes are the same whichever way."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from keyplumb.many.dealing import by_processes
from keyplumb.many.outcomes import Done, Failed, Kept
from processing.workers import can_be_forked, processors

T = TypeVar("T")


def over_files(
    work: Callable[[Path], T], files: Sequence[Path], *, workers: int | None = None, cluster: str | None = None
) -> Iterator[Done[T] | Failed]:
    """Yield what comes of each file, in the order of the files, as it comes: nothing is kept.

    work: done by one process alone; a function of a module, or `functools.partial` of one, with values that can be
    pickled. What it raises becomes the file's outcome and stops nothing.
    workers: processes; None: one for each processor where they can be forked, else one. cluster: the address of a
    dask.distributed scheduler, which does the work instead.
    Raises ManyError if the cluster cannot be had.
    """
    kept = Kept(work)
    if cluster is not None:
        from keyplumb.many.cluster import by_cluster

        return by_cluster(kept, files, cluster)
    count = workers or (processors() if can_be_forked() else 1)
    return by_processes(kept, files, min(count, len(files)))
