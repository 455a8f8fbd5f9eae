"""`keyplumb import`: a table of samples from another rig becomes a recording."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.commands.arguments import one_key, understood_by
from keyplumb.exit_codes import DONE

if TYPE_CHECKING:
    from recordings.text_table import ColumnChoice

NAME = "import"
SUMMARY = "Turn a table of samples (time_s, displacement_mm, force_N) into a recording."
EXAMPLE = "keyplumb import x.csv --events e.csv --key C4 --out r.h5"
NOTES = """
columns are named with their unit: time_s (ms us), displacement_mm (um in), force_N (mN gf kgf ozf lbf);
others are mapped by number or name: --column force=3:gf --column displacement=Travel:mm
a column `key` gives many keys in one file; events: time_s, event, velocity with event one of
note_on note_off contact_closed contact_open"""
QUANTITIES = ("time", "displacement", "force", "key")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.epilog = f"{parser.epilog}\n{NOTES}"
    parser.add_argument(
        "table", type=Path, metavar="FILE.csv", help="text with comma, semicolon or tab between columns"
    )
    parser.add_argument("--out", type=Path, required=True, metavar="REC.h5", help="the recording to be written")
    parser.add_argument("--key", type=one_key, help="the key of the whole table, as C4 or 40")
    parser.add_argument("--events", type=Path, metavar="EVENTS.csv", help="a table of note and contact events")
    parser.add_argument(
        "--column", action="append", default=[], type=understood_by(_column), metavar="force=3:gf", help="see below"
    )
    parser.add_argument(
        "--rate", type=understood_by(_rate), metavar="HZ", help="samples per second, if there is no time"
    )
    parser.add_argument("--skip", type=understood_by(_skip), metavar="N", help="the table starts after N lines")
    parser.add_argument("--instrument", help="the keyboard's name (default: the file's)")
    parser.add_argument("--serial", help="the unit's own serial number")


def _column(text: str) -> ColumnChoice:
    from recordings.text_table import ColumnChoice
    from recordings.units import PINT_NAMES, factor_to_ours

    quantity, _, rest = text.partition("=")
    column, _, unit = rest.rpartition(":") if quantity in PINT_NAMES else (rest, "", "")
    if quantity not in QUANTITIES or not column:
        raise ValueError(f"{text!r} maps no column; write it as force=3:gf, displacement=Travel:mm or key=1")
    if column.isdecimal() and int(column) < 1:
        raise ValueError(f"{text!r}: columns are counted from 1")
    if quantity in PINT_NAMES:
        factor_to_ours(quantity, unit)
    return ColumnChoice(quantity, column, unit)


def _rate(text: str) -> float:
    rate = float(text)
    if not 1.0 <= rate <= 1e6:
        raise ValueError(f"a rate of {text} Hz is not between 1 and 1000000")
    return rate


def _skip(text: str) -> int:
    lines = int(text)
    if lines < 0:
        raise ValueError("cannot skip fewer than 0 lines")
    return lines


def run(arguments: argparse.Namespace) -> int:
    """Read the tables, then write the recording; nothing is written unless every row is good."""
    from recordings.csv_import import ImportChoices, import_table
    from recordings.writer import refuse_to_overwrite, write_recording

    refuse_to_overwrite(arguments.out)
    choices = ImportChoices(
        key=arguments.key,
        rate_hz=arguments.rate,
        skip_lines=arguments.skip,
        columns=tuple(arguments.column),
        instrument=arguments.instrument,
        serial=arguments.serial,
        software_version=__version__,
    )
    recording = import_table(arguments.table, choices, events=arguments.events)
    write_recording(arguments.out, recording.header, recording.keys)
    samples = sum(len(key.trace) for key in recording.keys)
    names = ", ".join(key.key.name for key in recording.keys)
    print(f"{arguments.out}: {samples} samples of {names}", file=sys.stderr)
    return DONE
