"""`keyplumb check`: is the rig fit, before a survey."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import CAUTIONS, add_units, understood_by
from keyplumb.commands.survey_talk import stop_on_signals
from keyplumb.exit_codes import CANNOT_TELL, DONE, FAILED

if TYPE_CHECKING:
    from processing.display import Units
    from processing.fitness.judgement import Fitness

NAME = "check"
SUMMARY = (
    "Check before a survey whether the rig is fit: noise, hum, drift, zero, lost samples, motion, signs, force limit."
)
EXAMPLE = "keyplumb check --port /dev/ttyACM0 --seconds 30"
SHORTEST_S, LONGEST_S = 2.0, 3600.0
REST_BEFORE_SURVEY_S = 5.0
NARROWEST = 110
"""Columns of text that the table takes even on a narrower screen: a sentence in slivers is no sentence."""
COLOURS = {"fit": "green", "poor": "yellow", "unfit": "bold red", "not tried": "cyan"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("--port", required=True, help="the rig's port: /dev/tty..., COM3, socket://host:port")
    parser.add_argument(
        "--seconds", type=understood_by(_seconds), default=10.0, help="how long to rest, in rig time (default 10)"
    )
    parser.add_argument("--still", action="store_true", help="move nothing: only what a rest can tell")
    parser.add_argument("--json", action="store_true", help="all items as JSON, in N, mm, s")
    add_units(parser)


def _seconds(text: str) -> float:
    seconds = float(text)
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise ValueError(
            f"a rest is between {SHORTEST_S:g} and {LONGEST_S:g} s long; a shorter one cannot tell drift from noise"
        )
    return seconds


def run(arguments: argparse.Namespace) -> int:
    """Warn, try the rig, and say whether it is fit."""
    from daq.trial import TrialPlan, run_trial
    from processing.display import parse_units
    from processing.fitness.assess import assess
    from processing.fitness.view import fitness_view

    units = parse_units(arguments.units)
    if not arguments.still:
        print(CAUTIONS, file=sys.stderr)
        print("The plunger will go down until it touches the key under it, and come back.", file=sys.stderr)
    stop_on_signals()
    plan = TrialPlan(rest_s=arguments.seconds, moves=not arguments.still)
    fitness = assess(run_trial(arguments.port, plan, on_step=lambda step: print(step, file=sys.stderr)))
    if arguments.json:
        print(json.dumps(fitness_view(fitness), indent=1, allow_nan=False))
    else:
        _print_for_people(fitness, units)
    return {"fit": DONE, "unfit": FAILED, "cannot tell": CANNOT_TELL}[fitness.overall]


def check_before(port: str, tell: Callable[[str], None], *, moves: bool) -> tuple[str, str]:
    """Check the rig at the start of a survey; return the verdict in words and as JSON, for the recording's diary."""
    from daq.trial import TrialPlan, run_trial
    from processing.fitness.assess import assess
    from processing.fitness.view import fitness_view, sentence

    fitness = assess(run_trial(port, TrialPlan(rest_s=REST_BEFORE_SURVEY_S, moves=moves), on_step=lambda _: None))
    tell(f"check of the rig: {sentence(fitness)}")
    return sentence(fitness), json.dumps(fitness_view(fitness), allow_nan=False)


def _print_for_people(fitness: Fitness, units: Units) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from processing.fitness.view import limit_in_words, marked_as_stated, sentence, words

    units = marked_as_stated(units)
    console = Console(highlight=False)
    name = " ".join(filter(None, (fitness.rig.model, fitness.rig.serial_number))) or "a rig without a name"
    console.print(f"{name}, checked {fitness.started_at:%Y-%m-%d %H:%M} UTC", markup=False)
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    table.add_column("", no_wrap=True)
    table.add_column("item", no_wrap=True)
    table.add_column("what was found, and what to do")
    table.add_column("poor / unfit beyond", justify="right", no_wrap=True)
    said: set[str] = set()
    for result in fitness.items:
        judgement = result.judgement
        found, advice = words(judgement, units), judgement.advice
        if advice and advice not in said:  # once is enough where several items were left out for one reason
            found += f"\n-> {advice}"
        said.add(advice)
        verdict = Text(judgement.verdict, style=COLOURS[judgement.verdict])
        table.add_row(verdict, result.item.caption, Text(found), limit_in_words(judgement, units))
    Console(width=max(console.width, NARROWEST), highlight=False).print(table)
    console.print(f"\n{sentence(fitness)}", markup=False, soft_wrap=True)
