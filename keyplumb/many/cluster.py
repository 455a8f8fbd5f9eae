"""Files dealt out to the workers of a dask.distributed cluster; the scheduler is there already, and stays.

How it works: the workers open the files themselves, so they must see the same folders by the same names, and they must
have the versions that we have. Only a few tasks a worker are under way, as with processes of our own, and outcomes are
handed on in the order of the files.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from keyplumb import __version__
from keyplumb.many.dealing import AHEAD
from keyplumb.many.errors import NoClusterLibrary, NoScheduler, OtherVersions
from keyplumb.many.outcomes import DIED, Done, Failed, Kept

if TYPE_CHECKING:
    from distributed import Client, Future

T = TypeVar("T")

ANSWERS_WITHIN_S = 5.0
"""A scheduler in the same building answers in milliseconds."""
NUMBERS_COME_FROM = ("h5py", "numpy", "scipy")


def by_cluster(work: Kept[T], files: Iterable[Path], address: str) -> Iterator[Done[T] | Failed]:
    """Yield what comes of each file, in their order, worked on by the cluster whose scheduler is at an address.

    Raises NoClusterLibrary, NoScheduler, OtherVersions.
    """
    with _client(address) as client:
        ahead = AHEAD * _threads(client, address)
        _demand_our_versions(client)
        waiting: deque[tuple[Path, Future[Done[T] | Failed]]] = deque()
        for file in files:
            waiting.append((file, client.submit(_there, work, file.absolute(), pure=False)))
            if len(waiting) >= ahead:
                yield _outcome(*waiting.popleft(), address)
        while waiting:
            yield _outcome(*waiting.popleft(), address)


def _there(work: Kept[T], file: Path) -> Done[T] | Failed:
    """Do one file's work on a worker."""
    from processing.workers import keep_memory

    keep_memory()
    return work(file)


def _outcome(file: Path, future: Future[Done[T] | Failed], address: str) -> Done[T] | Failed:
    """Wait for a task and return its outcome, by the name that the file was given by."""
    from distributed import KilledWorker

    try:
        outcome = future.result()
    except KilledWorker:
        return Failed(file, DIED)
    except (CancelledError, OSError) as fault:
        raise NoScheduler(address, f"the scheduler has gone ({fault})") from fault
    return Failed(file, outcome.reason) if isinstance(outcome, Failed) else Done(file, outcome.result)


@contextmanager
def _client(address: str) -> Iterator[Client]:
    try:
        from distributed import Client
        from distributed.comm.addressing import get_address_host_port, normalize_address
    except ImportError as fault:
        raise NoClusterLibrary from fault
    for name in ("distributed", "distributed.client", "distributed.core"):
        logging.getLogger(name).setLevel(logging.CRITICAL)  # what goes wrong is said once, by us
    try:
        get_address_host_port(normalize_address(address))  # a Client refused for this leaves half of itself behind
        client = Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)
    except (OSError, ValueError) as fault:
        raise NoScheduler(address, f"no scheduler answers there ({fault})") from fault
    try:
        yield client
    finally:
        client.close()


def _threads(client: Client, address: str) -> int:
    try:
        client.wait_for_workers(1, timeout=ANSWERS_WITHIN_S)
    except TimeoutError as fault:
        raise NoScheduler(address, f"the scheduler has no worker after {ANSWERS_WITHIN_S:g} s") from fault
    return sum(client.nthreads().values())


def _demand_our_versions(client: Client) -> None:
    ours = _versions()
    for worker, theirs in client.run(_versions, on_error="return").items():
        if theirs != ours:
            raise OtherVersions(worker, theirs if isinstance(theirs, str) else f"no such keyplumb ({theirs})", ours)


def _versions() -> str:
    """Return the versions of all that numbers come from, as one line."""
    return ", ".join([f"keyplumb {__version__}", *(f"{name} {_version(name)}" for name in NUMBERS_COME_FROM)])


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "none"
