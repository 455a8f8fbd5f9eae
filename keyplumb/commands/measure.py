"""`keyplumb measure`: numbers of one recording or of many, for people, as JSON or as CSV."""

from __future__ import annotations

import argparse
import json
import sys
from functools import partial
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import (
    add_calibration,
    add_checks,
    add_front_edge,
    add_hands,
    add_recordings,
    add_units,
    chosen_calibration,
    chosen_settings,
    some_keys,
    understood_by,
)
from keyplumb.commands.budget_talk import key_and_measurand, number_of_trials, tell_budget
from keyplumb.commands.checks_talk import keys_to_measure, without_drift
from keyplumb.commands.weight_talk import tell_weight_test
from keyplumb.exit_codes import BAD_INPUT, DONE

if TYPE_CHECKING:
    from processing.display import Units
    from processing.keyboard import KeyboardResult

NAME = "measure"
SUMMARY = "Measure every key of a recording: travel, let-off, weights, energy, notes."
EXAMPLE = "keyplumb measure fern.h5 --json > fern.json"
WIDEST = 400
"""Columns of text that the table may take, whatever the screen: a number or a head cut short would be a wrong one."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_recordings(parser)
    form = parser.add_mutually_exclusive_group()
    form.add_argument(
        "--json", action="store_true", help="all numbers as JSON, in N, mm, s, mJ; of several recordings a line each"
    )
    form.add_argument("--csv", action="store_true", help="all numbers as CSV, one row per key and measurand")
    parser.add_argument("--keys", type=some_keys, help="only these: C4, A0..C8, naturals, sharps (default all)")
    parser.add_argument(
        "--budget",
        type=understood_by(key_and_measurand),
        metavar="KEY:MEASURAND",
        help="what the uncertainty of one number is made of, as C4:down_weight",
    )
    parser.add_argument(
        "--monte-carlo",
        type=understood_by(number_of_trials),
        metavar="N",
        help="the same budget by at most N trials (JCGM 101), and whether the two agree",
    )
    parser.add_argument(
        "--whole-grams",
        action="store_true",
        help="the weight test instead: what weights in whole grams would read on every key",
    )
    add_calibration(parser)
    add_front_edge(parser)
    add_units(parser)
    add_hands(parser)
    add_checks(parser.add_argument_group("the sitting"))
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Measure and print. Exit 3 if some of several recordings could not be measured; the others are."""
    if arguments.monte_carlo and not arguments.budget:
        arguments.wrong_use("--monte-carlo is about a budget: say which with --budget KEY:MEASURAND")
    if arguments.budget and (arguments.csv or arguments.keys):
        arguments.wrong_use("--budget names its key and is a table or JSON: leave --csv and --keys")
    if arguments.whole_grams and (arguments.json or arguments.csv or arguments.budget):
        arguments.wrong_use("--whole-grams is a table for people: leave --json, --csv and --budget")
    if len(arguments.recordings) > 1 or arguments.cluster:
        if arguments.budget or arguments.whole_grams or arguments.checks:
            arguments.wrong_use("--budget, --whole-grams and --checks are about one recording on this machine")
        return _measure_many(arguments)
    arguments.recording = arguments.recordings[0]
    if arguments.budget:
        tell_budget(arguments)
        return DONE
    return _measure_one(arguments)


def _measure_many(arguments: argparse.Namespace) -> int:
    """Print each recording's lines as they come, then what failed."""
    from keyplumb.many.measuring import CSV_HEAD, Asked, Form, failure_line, told, with_name
    from keyplumb.many.outcomes import Failed
    from keyplumb.many.over_files import over_files
    from keyplumb.many.progress import Watched
    from processing.display import parse_units

    form: Form = "json" if arguments.json else "csv" if arguments.csv else "sentence"
    asked = Asked(chosen_settings(arguments), arguments.keys, chosen_calibration(arguments))
    work = partial(told, asked=asked, form=form, units=parse_units(arguments.units))
    outcomes = over_files(work, arguments.recordings, workers=arguments.workers, cluster=arguments.cluster)
    watched = Watched(len(arguments.recordings), bar=not sys.stdout.isatty())
    if form == "csv":
        print(CSV_HEAD)
    for outcome in watched.results(outcomes):
        if not isinstance(outcome, Failed):
            print(with_name(outcome.file, outcome.result, form), flush=True)
        elif form == "json":
            print(failure_line(outcome), flush=True)
    watched.tell_failures()
    return BAD_INPUT if watched.failed else DONE


def _measure_one(arguments: argparse.Namespace) -> int:
    from processing.display import parse_units
    from processing.views import measure_view, tidy_table
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    settings, record = chosen_settings(arguments), chosen_calibration(arguments)
    with open_recording(arguments.recording) as opened:
        chosen = keys_to_measure(opened, arguments.keys, arguments.checks)
        result = analyse_file(opened, settings, keys=chosen, record=record, workers=arguments.workers)
        if not opened.complete:
            print("keyplumb: the recording was interrupted; measuring what is there", file=sys.stderr)
    label, units = result.header.run.instrument, parse_units(arguments.units)
    (settled,) = without_drift(arguments, [result], [label], units, arguments.keys)
    result = settled.result
    if arguments.json:
        print(json.dumps(measure_view(result), indent=1, allow_nan=False))
    elif arguments.csv:
        print(tidy_table(result).to_csv(index=False), end="")
    elif arguments.whole_grams:
        tell_weight_test(result)
    else:
        _print_for_people(result, units)
    return DONE


def _print_for_people(result: KeyboardResult, units: Units) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from processing.report.key_table import short_key_table
    from processing.statistics.keyboard_statistics import describe_keyboard
    from processing.summary import odd_key_sentences, summary, what_was_done

    console = Console(soft_wrap=True, highlight=False)
    several = len(result.keys) > 1
    for sentence in summary(result, describe_keyboard(result), units) if several else [what_was_done(result)]:
        console.print(sentence, markup=False)
    for name, why in odd_key_sentences(result, units):
        console.print(f"{name} stands out: {why}", markup=False)
    if not several:
        _print_one_key(result, units)
        return
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    heads, rows = short_key_table(result, units)
    for place, head in enumerate(heads):
        table.add_column(head, justify="left" if place in (0, len(heads) - 1) else "right", no_wrap=True)
    for row in rows:
        table.add_row(*row)
    Console(width=WIDEST, highlight=False).print(table)


def _print_one_key(result: KeyboardResult, units: Units) -> None:
    from processing.calibration_status import marked
    from processing.display import finding_in_words, measured, remark_on
    from processing.features.table import FEATURES
    from processing.verdicts import notch_sentence, note_order, sustain

    key, units = result.keys[0], marked(units, result.header)
    for feature in FEATURES:
        measurement = key[feature.name]
        print(f"{feature.caption:40} {measured(measurement, units):34} {remark_on(measurement)}".rstrip())
    if order := note_order(key):
        print(f"{'Note and notch':40} {order}")
    if verdict := sustain(key, result.settings):
        print(f"{'Room to repeat with the note held':40} {verdict}")
    if sentence := notch_sentence(key, units):
        print(sentence)
    for finding in key.findings:
        print(finding_in_words(finding, units))
