"""`keyplumb report`: one HTML file and one PDF of a recording, or of several side by side."""

from __future__ import annotations

import argparse
import shlex
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.commands.arguments import (
    add_calibration,
    add_checks,
    add_front_edge,
    add_units,
    chosen_calibration,
    chosen_settings,
    some_keys,
)
from keyplumb.commands.checks_talk import without_drift
from keyplumb.exit_codes import DONE
from keyplumb.labels import demand_different

if TYPE_CHECKING:
    from processing.report.recorded import Recorded
    from recordings.types import Header

NAME = "report"
SUMMARY = (
    "Write the report of a recording, or of several side by side: one HTML file that needs nothing else, and a PDF."
)
EXAMPLE = "keyplumb report fern.h5 moss.h5 --out fern-and-moss --curves C4,A5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument(
        "recordings", type=Path, nargs="+", metavar="REC.h5", help="recordings made by `survey` or `import`; at most 4"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="NAME",
        help="write NAME.html and NAME.pdf, over older ones (default: beside the first REC.h5)",
    )
    parser.add_argument("--curves", type=some_keys, default=(), help="keys whose curves are shown (default: a choice)")
    parser.add_argument(
        "--margins", type=Path, metavar="FILE", help="TOML, as for `compare`: up to which difference they are alike"
    )
    add_calibration(parser)
    add_front_edge(parser)
    add_checks(parser)
    add_units(parser)
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Measure, then write both files."""
    if arguments.margins is not None and len(arguments.recordings) < 2:
        arguments.wrong_use("--margins are about a comparison: give two recordings or more")
    from processing.comparison.margins import read_margins
    from processing.display import count_of, parse_units
    from processing.report.recorded import Made, demand_few
    from processing.report.write import demand_places, places_of, write_report
    from processing.summary import nobody_odd_sentence

    demand_few(len(arguments.recordings))
    stem = arguments.out or _stem(arguments.recordings)
    demand_places(*places_of(stem))
    margins = None if arguments.margins is None else read_margins(arguments.margins)
    recordings = _settled(_measured(arguments), arguments)
    _demand_curves(arguments, recordings)
    written = write_report(
        recordings,
        stem,
        parse_units(arguments.units),
        curves_of=arguments.curves,
        margins=margins,
        made=Made(_command(arguments), __version__),
    )
    for path in written:
        print(path)
    for recorded in recordings:
        whose = "" if len(recordings) == 1 else f"{recorded.result.header.run.instrument}: "
        measured = sum(key.strokes > 0 for key in recorded.result.keys)
        odd = len(recorded.result.odd_keys)
        told = f"{odd} stand{'s' if odd == 1 else ''} out." if odd else nobody_odd_sentence(recorded.result)
        print(f"{whose}{count_of(measured, 'key')} measured. {told}", file=sys.stderr)
    return DONE


def _measured(arguments: argparse.Namespace) -> list[Recorded]:
    """Return the results of all recordings. Raises SameRecording, MalformedRecording."""
    from processing.report.recorded import Recorded, source_file
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    demand_different([_header(path) for path in arguments.recordings], [str(path) for path in arguments.recordings])
    record, settings = chosen_calibration(arguments), chosen_settings(arguments)
    recordings = []
    for path in arguments.recordings:
        with open_recording(path) as opened:
            result = analyse_file(opened, settings, record=record)
        recordings.append(Recorded(result, file=source_file(path)))
    return recordings


def _header(path: Path) -> Header:
    """Return who recorded what. Raises MalformedRecording if there is nothing to report."""
    from recordings.errors import MalformedRecording
    from recordings.reader import open_recording

    with open_recording(path) as opened:
        if not opened.keys:
            raise MalformedRecording(str(path), "holds no keys; there is nothing to report")
        return opened.header


def _settled(recordings: list[Recorded], arguments: argparse.Namespace) -> list[Recorded]:
    """Return the recordings without the drift that check keys tell of, and with what was said of it."""
    from processing.display import parse_units
    from processing.recording_names import told_apart
    from processing.report.recorded import source_file
    from processing.sitting_words import drift_sentences

    results = [recorded.result for recorded in recordings]
    names = told_apart(
        [result.header.run.instrument for result in results], [path.stem for path in arguments.recordings]
    )
    units = parse_units(arguments.units)
    return [
        replace(
            recorded,
            result=settled.result,
            drift=tuple(drift_sentences(settled.sitting, name, units)),
            checks=tuple(source_file(Path(place)) for place in settled.checks),
        )
        for recorded, name, settled in zip(
            recordings, names, without_drift(arguments, results, names, units), strict=True
        )
    ]


def _demand_curves(arguments: argparse.Namespace, recordings: list[Recorded]) -> None:
    """Raise MalformedRecording if curves were asked for of keys that no recording holds."""
    from recordings.errors import MalformedRecording

    held = {key.key for recorded in recordings for key in recorded.result.keys}
    missing = [key.name for key in arguments.curves if key not in held]
    if missing:
        places = ", ".join(str(path) for path in arguments.recordings)
        verb = "holds" if len(recordings) == 1 else "hold"
        raise MalformedRecording(places, f"{verb} no {', '.join(missing)}; see `keyplumb info`")


def _stem(paths: list[Path]) -> Path:
    """Return where a report goes if nobody says: beside the first recording, named after all."""
    return paths[0].with_name("-".join(path.stem for path in paths))


def _command(arguments: argparse.Namespace) -> str:
    """Return the command that makes the same report from the same files."""
    words = ["keyplumb", "report", *(path.name for path in arguments.recordings), "--units", arguments.units]
    if arguments.curves:
        words += ["--curves", ",".join(key.name for key in arguments.curves)]
    if arguments.margins is not None:
        words += ["--margins", arguments.margins.name]
    if arguments.calibration is not None:
        words += ["--calibration", arguments.calibration.name]
    if arguments.front_edge:
        words.append("--front-edge")
    if arguments.checks:
        words += ["--checks", *(path.name for path in arguments.checks)]
    return shlex.join(words)
