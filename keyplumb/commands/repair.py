"""`keyplumb repair`: makes a recording of what an interrupted survey left behind."""

from __future__ import annotations

import argparse
from pathlib import Path

from keyplumb.exit_codes import DONE

NAME = "repair"
SUMMARY = "Make a recording of what an interrupted survey left in its folder NAME.h5.partial."
EXAMPLE = "keyplumb repair fern.h5.partial --out fern.h5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("folder", type=Path, metavar="NAME.h5.partial", help="the folder that `survey` left")
    parser.add_argument("--out", type=Path, metavar="REC.h5", help="the recording to be written (default: NAME.h5)")


def run(arguments: argparse.Namespace) -> int:
    """Join the finished strokes and what the journal holds; the folder goes when the file is whole."""
    from recordings.partial import assemble

    folder = arguments.folder.resolve()
    out = arguments.out or folder.with_name(folder.name.removesuffix(".partial"))
    found = assemble(folder, out, complete=False)
    print(
        f"{out}: {found.finished_stretches} finished stretches, and {found.rescued_samples} samples of the one "
        "that was interrupted; the file says that it is not complete"
    )
    return DONE
