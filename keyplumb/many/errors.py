"""What keeps many files from being worked on together. What is wrong with one file is its own outcome, no error.

ManyError
 +-- NoClusterLibrary   the library that talks to a cluster is not installed
 +-- NoScheduler        nothing answers at the address, or what answered has gone, or it has no workers
 +-- OtherVersions      a worker would compute with other versions than we do
"""

from __future__ import annotations


class ManyError(Exception):
    """Anything that keeps many files from being worked on."""


class NoClusterLibrary(ManyError):
    """The library that talks to a cluster is not part of the base install."""

    def __init__(self) -> None:
        super().__init__(
            "--cluster needs the library distributed, which is not installed; `pip install 'keyplumb[cluster]'` "
            "brings it, or leave --cluster out and say --workers N"
        )


class NoScheduler(ManyError):
    """No scheduler of a cluster that could do the work."""

    def __init__(self, address: str, why: str) -> None:
        self.address, self.why = address, why
        super().__init__(
            f"{address}: {why}; start a scheduler and its workers (`dask scheduler`, `dask worker ADDRESS`), check the "
            "address, or leave --cluster out"
        )


class OtherVersions(ManyError):
    """A worker of the cluster would compute with other versions, and results might differ."""

    def __init__(self, worker: str, theirs: str, ours: str) -> None:
        self.worker, self.theirs, self.ours = worker, theirs, ours
        super().__init__(
            f"the cluster's worker {worker} has {theirs}, here it is {ours}: results could differ; install the same "
            "versions there (constraints.txt)"
        )
