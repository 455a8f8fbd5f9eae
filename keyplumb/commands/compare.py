"""`keyplumb compare`: two or more recordings side by side, each against the first."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import (
    add_calibration,
    add_checks,
    add_front_edge,
    add_units,
    chosen_calibration,
    chosen_settings,
    some_keys,
)
from keyplumb.commands.checks_talk import keys_to_measure, without_drift
from keyplumb.exit_codes import DONE
from keyplumb.labels import demand_different

if TYPE_CHECKING:
    from processing.comparison.types import Comparison, PairComparison
    from processing.display import Units
    from processing.keyboard import KeyboardResult
    from recordings.types import Header

NAME = "compare"
SUMMARY = "Compare recordings: what differs, by how much, how surely, and where in the travel."
EXAMPLE = "keyplumb compare fern.h5 moss.h5 --json > differences.json"
WIDEST = 400
"""Columns of text that the table may take, whatever the screen: a number cut short would be a wrong number."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument(
        "recordings", type=Path, nargs="+", metavar="REC.h5", help="two or more; each is compared with the first"
    )
    parser.add_argument("--json", action="store_true", help="all numbers and sentences as JSON, in N, mm, mJ")
    parser.add_argument("--table", action="store_true", help="also every number that was compared, different or not")
    parser.add_argument("--keys", type=some_keys, help="only these: C4, A0..C8, naturals, sharps (default all)")
    parser.add_argument(
        "--margins", type=Path, metavar="FILE", help="TOML: up to which difference keyboards are as good as alike"
    )
    add_checks(parser)
    add_calibration(parser)
    add_front_edge(parser)
    add_units(parser)
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Measure all, compare, print."""
    if len(arguments.recordings) < 2:
        arguments.wrong_use("a comparison needs two recordings or more: keyplumb compare A.h5 B.h5")
    from keyplumb.compared import jointly_marked
    from processing.comparison.compare import compare_keyboards
    from processing.comparison.margins import read_margins
    from processing.comparison.view import compare_view
    from processing.display import parse_units
    from processing.recording_names import told_apart

    margins = read_margins() if arguments.margins is None else read_margins(arguments.margins)
    results = _measured(arguments)
    instruments = [result.header.run.instrument for result in results]
    labels = told_apart(instruments, [path.stem for path in arguments.recordings])
    given = parse_units(arguments.units)
    results = [settled.result for settled in without_drift(arguments, results, labels, given, arguments.keys)]
    comparison = compare_keyboards(results, labels, margins=margins)
    units = jointly_marked(given, comparison)
    if arguments.json:
        print(json.dumps(compare_view(comparison, units), indent=1, allow_nan=False))
        return DONE
    for caution in comparison.cautions:
        print(f"keyplumb: {caution}", file=sys.stderr)
    for pair in comparison.pairs:
        print_pair(comparison, pair, units)
        if arguments.table:
            _print_table(comparison, pair, units)
    return DONE


def _measured(arguments: argparse.Namespace) -> list[KeyboardResult]:
    """Return the results of all recordings. Raises SameRecording, MalformedRecording."""
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    record, settings = chosen_calibration(arguments), chosen_settings(arguments)
    headers: list[Header] = []
    results = []
    for place, path in enumerate(arguments.recordings, 1):
        with open_recording(path) as opened:
            headers.append(opened.header)
            demand_different(headers, [str(one) for one in arguments.recordings[:place]])
            chosen = keys_to_measure(opened, arguments.keys, arguments.checks)
            results.append(analyse_file(opened, settings, keys=chosen, record=record))
    return results


def print_pair(comparison: Comparison, pair: PairComparison, units: Units) -> None:
    """Print what was found of one pair, in sentences."""
    from processing.comparison.band_words import band_sentences
    from processing.comparison.sentences import pair_sentences
    from processing.display import count_of

    share, kept = 100.0 * (1.0 - comparison.settings.alpha), len(pair.keys) - len(pair.left_out)
    counted = f"{count_of(kept, 'key')}, {count_of(comparison.tests, 'test')}, surely different at {share:g} %"
    print(f"\n{pair.second} against {pair.first}: {counted if kept else 'no key to compare'}")
    for sentence in pair_sentences(pair, units):
        print(f"  {sentence}")
    bands = band_sentences(pair, units)
    if bands:
        print("Where in the travel (bands that hold all over it)")
    for sentence in bands:
        print(f"  {sentence}")


def _print_table(comparison: Comparison, pair: PairComparison, units: Units) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from processing.comparison.view import difference_table, how_to_read

    told = difference_table(pair, units)
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    for head in told.heads:
        table.add_column(head, no_wrap=True)
    for row in told.rows:
        table.add_row(*row)
    Console(width=WIDEST, highlight=False).print(table)
    print(how_to_read(comparison))
