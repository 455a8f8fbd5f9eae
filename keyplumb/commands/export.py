"""`keyplumb export`: a recording's numbers, curves or samples as a table for other programs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.commands.arguments import (
    add_calibration,
    add_checks,
    add_front_edge,
    add_recording,
    chosen_calibration,
    chosen_settings,
    some_keys,
)
from keyplumb.commands.checks_talk import keys_to_measure, without_drift
from keyplumb.exit_codes import DONE

if TYPE_CHECKING:
    import pandas as pd

    from processing.keyboard import KeyboardResult
    from recordings.keys import Key
    from recordings.reader import RecordingFile
    from recordings.types import Header

NAME = "export"
SUMMARY = "Write a recording's numbers, curves or samples as CSV, Parquet or Excel, with units and uncertainties."
EXAMPLE = "keyplumb export fern.h5 --to fern.xlsx"
TABLES = {
    "keys": "a row a key, all its numbers with u, U95, dof, flags and reasons (default)",
    "numbers": "a row a number",
    "curves": "a row a place of each key's mean curve, with standard errors",
    "strokes": "the same of every single stroke",
    "samples": "every raw sample, counts and what they mean by the scales",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_recording(parser)
    parser.add_argument(
        "--to", type=Path, required=True, metavar="FILE", help="ends in .csv, .parquet or .xlsx: that is the format"
    )
    told = "; ".join(f"{name}: {what}" for name, what in TABLES.items())
    parser.add_argument("--table", default="keys", choices=tuple(TABLES), help=told)
    parser.add_argument("--keys", type=some_keys, help="only these: C4, A0..C8, naturals, sharps (default all)")
    parser.add_argument("--replace", action="store_true", help="write over a file of that name")
    add_checks(parser)
    add_calibration(parser)
    add_front_edge(parser)
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Measure as far as the table needs it, then write the file."""
    if arguments.table == "samples" and arguments.front_edge:
        arguments.wrong_use("samples are told as the plunger has seen them: leave --front-edge")
    if arguments.table in ("samples", "strokes") and arguments.checks:
        arguments.wrong_use(
            f"the drift is taken out of numbers and mean curves, {arguments.table} keep it: leave --checks"
        )
    from processing.calibrate import recalibrated
    from processing.display import count_of
    from processing.export.files import demand_place, write_table
    from recordings.reader import open_recording

    demand_place(arguments.to, replace=arguments.replace)
    record = chosen_calibration(arguments)
    with open_recording(arguments.recording) as opened:
        chosen = opened.held_of(arguments.keys)
        if not opened.complete:
            print("keyplumb: the recording was interrupted; exporting what is there", file=sys.stderr)
        header = recalibrated(opened.header, record)
        pieces = _pieces(arguments, opened, chosen, header)
        rows = write_table(pieces, arguments.to, name=arguments.table, about=_about(arguments, header))
    print(arguments.to)
    print(f"{count_of(rows, 'row')} of {count_of(len(chosen), 'key')}", file=sys.stderr)
    return DONE


def _pieces(
    arguments: argparse.Namespace, opened: RecordingFile, keys: tuple[Key, ...], header: Header
) -> Iterable[pd.DataFrame]:
    """Return the pieces of the table that was asked for."""
    from processing.display import Units
    from processing.export import tables
    from processing.pipeline import basis_of
    from processing.whole_recording import analyse_file

    settings = chosen_settings(arguments)
    if arguments.table == "samples":
        calibration = basis_of(header, settings).calibration
        return tables.sample_tables(map(opened.read_key, keys), header, calibration)
    measured = keys_to_measure(opened, keys, arguments.checks)
    result = analyse_file(opened, settings, keys=measured, record=header.calibration.record)
    arguments.recordings = [arguments.recording]
    (settled,) = without_drift(arguments, [result], [header.run.instrument], Units(), keys)
    made: dict[str, Callable[[KeyboardResult], Iterable[pd.DataFrame]]] = {
        "keys": tables.key_tables,
        "numbers": tables.number_tables,
        "curves": tables.curve_tables,
        "strokes": tables.stroke_tables,
    }
    return made[arguments.table](settled.result)


def _about(arguments: argparse.Namespace, header: Header) -> dict[str, str]:
    """Return what someone who finds the file must know of it."""
    from processing.calibration_status import calibration_sentence

    return {
        "instrument": header.run.instrument,
        "recorded at": header.run.started_at.isoformat(),
        "recording": arguments.recording.name,
        "table": f"{arguments.table}: {TABLES[arguments.table].removesuffix(' (default)')}",
        "calibration": calibration_sentence(header),
        "stated at": "front edge" if arguments.front_edge else "plunger",
        **_about_checks(arguments),
        "units": "in the names of the columns; _u: standard uncertainty, _U95: half of the 95 % interval",
        "written by": f"keyplumb {__version__}",
    }


def _about_checks(arguments: argparse.Namespace) -> dict[str, str]:
    if not arguments.checks:
        return {}
    return {"drift": f"taken out, as told by {', '.join(path.name for path in arguments.checks)}"}
