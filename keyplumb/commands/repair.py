"""`keyplumb repair`: makes a recording of what an interrupted survey left behind."""

from __future__ import annotations

import argparse
from pathlib import Path

from keyplumb.exit_codes import DONE

NAME = "repair"
SUMMARY = "Make a recording of what an interrupted survey left, instead of going on with it: the folder goes."
EXAMPLE = "keyplumb repair fern.h5.partial --out fern.h5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("folder", type=Path, metavar="NAME.h5.partial", help="the folder that `survey` left")
    parser.add_argument("--out", type=Path, metavar="REC.h5", help="the recording to be written (default: NAME.h5)")


def run(arguments: argparse.Namespace) -> int:
    """Join the finished strokes and what the journal holds; the folder goes when the file is whole."""
    from recordings.assembly import assemble
    from recordings.growing import partial_folder

    folder = arguments.folder.resolve()
    if not folder.exists() and partial_folder(folder).is_dir():  # the recording is named, as `resume` has it
        folder = partial_folder(folder)
    out = arguments.out or folder.with_name(folder.name.removesuffix(".partial"))
    found = assemble(folder, out)
    print(f"{out}: {found.keys_done} keys done, {found.finished_stretches} finished stretches")
    print(f"rescued of the stretch that was interrupted: {found.rescued_samples} samples")
    if found.attempts_set_aside:
        print(f"attempts that had been set aside and are kept apart: {found.attempts_set_aside}")
    print(
        f"complete: {'yes, only the one file had not been written' if found.complete else 'no, and the file says so'}"
    )
    return DONE
