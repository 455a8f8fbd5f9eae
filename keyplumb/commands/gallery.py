"""`keyplumb gallery`: a close look at any key: samples, curve, windows, thresholds, residuals; one picture a key."""

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

NAME = "gallery"
SUMMARY = "Draw keys from close by, one picture each: samples, curve, every window and threshold, residuals."
EXAMPLE = "keyplumb gallery fern.h5 --keys C4,A5 --out fern-gallery"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_recording(parser)
    parser.add_argument("--keys", type=some_keys, default=(), help="which keys, such as C4,A5 (default: all)")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where the pictures go (default: REC-gallery beside REC.h5)"
    )
    add_calibration(parser)
    add_front_edge(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Draw a PNG for each key wanted."""
    from processing.calibrate import recalibrated
    from processing.calibration_status import marked
    from processing.display import parse_units
    from processing.own_files import PICTURE, demand_own_place
    from processing.pipeline import basis_of
    from processing.report.close_up import look_closely, write_close_up
    from recordings.errors import MalformedRecording
    from recordings.reader import open_recording

    with open_recording(arguments.recording) as opened:
        wanted = arguments.keys or opened.keys
        missing = [key.name for key in wanted if key not in opened.keys]
        if missing or not wanted:
            lacking = f"holds no {', '.join(missing)}; see `keyplumb info`" if missing else "holds no keys"
            raise MalformedRecording(str(arguments.recording), lacking)
        header = recalibrated(opened.header, chosen_calibration(arguments))
        units = marked(parse_units(arguments.units), header)
        basis = basis_of(header, chosen_settings(arguments))
        folder = arguments.out or arguments.recording.with_name(f"{arguments.recording.stem}-gallery")
        places = {key: folder / f"{key.name.replace('#', 's')}.png" for key in wanted}
        folder.mkdir(parents=True, exist_ok=True)
        for path in places.values():
            demand_own_place(path, PICTURE)
        for key, path in places.items():
            seen = look_closely(opened.read_key(key), basis.calibration, basis.settings, basis.doubt)
            write_close_up(path, seen, units, f"{header.run.instrument}, {key.name} (key {key.number})")
            print(path)
    print(f"{len(wanted)} keys drawn", file=sys.stderr)
    return DONE
