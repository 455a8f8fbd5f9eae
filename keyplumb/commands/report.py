"""`keyplumb report`: one HTML file and one PDF of a recording."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from keyplumb.commands.arguments import (
    add_calibration,
    add_front_edge,
    add_recording,
    add_units,
    chosen_calibration,
    chosen_settings,
    some_keys,
)
from keyplumb.exit_codes import DONE

NAME = "report"
SUMMARY = "Write the report of a recording: one HTML file that needs nothing else, and a PDF to print."
EXAMPLE = "keyplumb report fern.h5 --out fern-report --curves C4,A5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_recording(parser)
    parser.add_argument(
        "--out", type=Path, metavar="NAME", help="write NAME.html and NAME.pdf (default: beside REC.h5)"
    )
    parser.add_argument("--curves", type=some_keys, default=(), help="keys whose curves are shown (default: a choice)")
    add_calibration(parser)
    add_front_edge(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Measure, then write both files."""
    from processing.display import parse_units
    from processing.report.write import write_report
    from processing.whole_recording import analyse_file
    from recordings.errors import MalformedRecording
    from recordings.reader import open_recording

    record = chosen_calibration(arguments)
    with open_recording(arguments.recording) as opened:
        missing = [key.name for key in arguments.curves if key not in opened.keys]
        if missing:
            raise MalformedRecording(str(arguments.recording), f"holds no {', '.join(missing)}; see `keyplumb info`")
        if not opened.keys:
            raise MalformedRecording(str(arguments.recording), "holds no keys; there is nothing to report")
        result = analyse_file(opened, chosen_settings(arguments), record=record)
    stem = arguments.out or arguments.recording.with_suffix("")
    for written in write_report(result, stem, parse_units(arguments.units), curves_of=arguments.curves):
        print(written)
    measured = sum(key.strokes > 0 for key in result.keys)
    print(f"{measured} keys measured, {len(result.odd_keys)} stand out", file=sys.stderr)
    return DONE
