"""What `keyplumb measure --budget` prints: the budget of one number of one key."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from recordings.keys import Key

if TYPE_CHECKING:
    from processing.budget.lines import Budget
    from processing.budget.monte_carlo import Comparison
    from processing.keyboard import KeyboardResult
    from processing.stages import Measurement


def key_and_measurand(text: str) -> tuple[Key, str]:
    """Return what `C4:down_weight` names. Raises ValueError, with the names there are."""
    from processing.features.table import FEATURES

    key, _, name = text.partition(":")
    names = [feature.name for feature in FEATURES]
    if name not in names:
        raise ValueError(f"{name!r} is no measurand; write KEY:MEASURAND, as C4:down_weight, with one of {names}")
    return Key.from_name(key), name


def number_of_trials(text: str) -> int:
    """Return the most trials of Monte Carlo. Raises ValueError out of bounds."""
    from processing.budget.monte_carlo import FEWEST_TRIALS, MOST_TRIALS

    trials = int(text)
    if not FEWEST_TRIALS <= trials <= MOST_TRIALS:
        raise ValueError(f"between {FEWEST_TRIALS} and {MOST_TRIALS} trials; 1000000 settle most budgets")
    return trials


def tell_budget(arguments: argparse.Namespace) -> None:
    """Measure one key, print the budget of one number. Raises RecordingError, FeatureNotFound (it has no value)."""
    from keyplumb.commands.arguments import chosen_calibration, chosen_settings
    from keyplumb.commands.checks_talk import keys_to_measure, without_drift
    from processing.display import parse_units
    from processing.errors import FeatureNotFound
    from processing.whole_recording import analyse_file
    from recordings.errors import MalformedRecording
    from recordings.reader import open_recording

    key, name = arguments.budget
    with open_recording(arguments.recording) as opened:
        if key not in opened.keys:
            raise MalformedRecording(str(arguments.recording), f"holds no {key.name}; see `keyplumb info`")
        measured = keys_to_measure(opened, (key,), arguments.checks)
        whole = analyse_file(opened, chosen_settings(arguments), keys=measured, record=chosen_calibration(arguments))
    label, units = whole.header.run.instrument, parse_units(arguments.units)
    (settled,) = without_drift(arguments, [whole], [label], units, (key,))
    result = settled.result
    measurement = result.keys[0][name]
    if measurement.budget is None:
        raise FeatureNotFound(f"{key.name}:{name} has no value and so no budget: {measurement.reason}")
    found = _by_monte_carlo(measurement.budget, arguments.monte_carlo, result)
    if arguments.json:
        print(json.dumps(_as_data(result, measurement, measurement.budget, found), indent=1, allow_nan=False))
    else:
        _print_for_people(result, measurement, measurement.budget, found, arguments.units)


def _by_monte_carlo(budget: Budget, most_trials: int | None, result: KeyboardResult) -> Comparison | None:
    from processing.budget.monte_carlo import compare

    knobs = result.settings.uncertainty
    if most_trials is None:
        return None
    return compare(budget, coverage=knobs.coverage, most_trials=most_trials, seed=knobs.seed)


def _as_data(
    result: KeyboardResult, measurement: Measurement, budget: Budget, found: Comparison | None
) -> dict[str, object]:
    from processing.budget_view import SCHEMA, budget_view
    from processing.calibration_status import calibration_status

    return {
        "schema": SCHEMA,
        "key": result.keys[0].key.name,
        "calibrated": calibration_status(result.header) == "calibrated",
        "flags": list(measurement.flags),
        **budget_view(budget, result.settings.uncertainty.coverage, found),
    }


def _print_for_people(
    result: KeyboardResult, measurement: Measurement, budget: Budget, found: Comparison | None, chosen: str
) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from processing.budget_view import budget_table, monte_carlo_sentences, total_sentences
    from processing.calibration_status import calibration_status
    from processing.display import measured, parse_units
    from processing.features.table import FEATURES

    units, coverage = parse_units(chosen), result.settings.uncertainty.coverage
    caption = next(feature.caption for feature in FEATURES if feature.name == budget.measurand)
    console = Console(soft_wrap=True, highlight=False, markup=False)
    console.print(f"{result.keys[0].key.name}, {caption}: {measured(measurement, units)}")
    shown = budget_table(budget, units)
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    for place, head in enumerate(shown.heads):
        table.add_column(head, justify="left" if place < 3 else "right", no_wrap=True)
    for row in shown.rows:
        table.add_row(*row)
    widest = sum(max(map(len, column)) + 3 for column in zip(shown.heads, *shown.rows, strict=True))
    Console(width=max(console.width, widest), highlight=False, markup=False).print(table)
    for sentence in total_sentences(budget, coverage, units):
        console.print(sentence)
    for sentence in monte_carlo_sentences(budget, found, units) if found else ():
        console.print(sentence)
    if calibration_status(result.header) == "missing":
        console.print("Uncalibrated: no line says how far the scales of force and travel themselves are off.")
