"""Where `keyplumb inspect` may write a verdict: refused before anything is measured, so that no work is lost."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from pathlib import Path

from processing.own_files import Mark, demand_own_place

MARKS = {
    "csv": Mark(b"instrument,serial,key,number,code,outcome,", b"", "`inspect --csv` wrote"),
    "junit": Mark(b"<?xml", b'name="SHA-256 of the limits"', "`inspect --junit` wrote"),
    "pdf": Mark(b"%PDF-", b"keyplumb inspect", "`inspect --pdf` wrote"),
}
"""By what a file that `inspect` wrote is known."""


def written(arguments: argparse.Namespace) -> dict[str, Path]:
    """Return the files that are asked for, by their format."""
    return {kind: path for kind in MARKS if (path := getattr(arguments, kind)) is not None}


def demand_places(arguments: argparse.Namespace, recordings: Iterable[Path]) -> None:
    """Refuse to write over what is read, over each other, over what is not ours, or where nothing can lie.

    Ends as wrong use (exit 2), or raises FileIsThere, CannotWrite, NoSuchFolder.
    """
    files = written(arguments)
    read = {path.resolve() for path in (*recordings, arguments.limits)}
    for kind, path in files.items():
        if str(path) == "-":
            arguments.wrong_use(f"--{kind} writes a file: give its name; what goes to stdout is --json")
        if path.resolve() in read:
            arguments.wrong_use(f"{path} is read here and is not written over; choose another name")
        if [other.resolve() for other in files.values()].count(path.resolve()) > 1:
            arguments.wrong_use(f"{path} is to hold two things: choose a name for each of --csv, --junit, --pdf")
    for kind, path in files.items():
        demand_own_place(path, MARKS[kind])


def demand_store(store: Path | None, refuse: Callable[[str], object]) -> None:
    """Refuse, before any work is done, a store that cannot be one. Raises StoreLibrary if it cannot be written."""
    if store is None:
        return
    if store.exists() and not store.is_dir():
        refuse(f"--store {store}: it is a file; a store is a folder, and is made if it is not there")
    from processing.unit_store.schema import demand_libraries

    demand_libraries()


def demand_different_files(recordings: list[Path], refuse: Callable[[str], object]) -> None:
    """Refuse a recording that is given twice: it would count as two units."""
    seen: set[Path] = set()
    for path in recordings:
        if path.resolve() in seen:
            refuse(f"{path} is given twice and would count as two units; give it once")
        seen.add(path.resolve())
