"""Words that several commands understand in the same way."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from recordings.errors import RecordingError
from recordings.keys import Key, parse_keys

T = TypeVar("T")


def understood_by(parse: Callable[[str], T]) -> Callable[[str], T]:
    """Return a parser for argparse that turns our errors into wrong use (exit 2) with our own words."""

    def parsed(text: str) -> T:
        try:
            return parse(text)
        except (RecordingError, ValueError) as fault:
            raise argparse.ArgumentTypeError(str(fault)) from fault

    return parsed


one_key = understood_by(Key.from_name)
some_keys = understood_by(parse_keys)


def add_recording(parser: argparse.ArgumentParser) -> None:
    """Add the recording to be read."""
    parser.add_argument("recording", type=Path, metavar="REC.h5", help="a recording made by `survey` or `import`")


def add_units(parser: argparse.ArgumentParser) -> None:
    """Add the reader's units."""
    parser.add_argument(
        "--units",
        default="gf,mm",
        choices=("gf,mm", "N,mm", "gf,in"),
        metavar="UNITS",
        help="units for people: gf,mm (default) or N,mm or gf,in",
    )
