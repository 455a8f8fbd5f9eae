"""`keyplumb survey`: records the keys of an instrument with a motorised rig."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import CAUTIONS, about_the_run, add_about, add_midi, add_port_and_out, some_keys

if TYPE_CHECKING:
    from daq.survey import SurveyPlan

NAME = "survey"
SUMMARY = "Record the keys of an instrument, key by key, by motor; an interrupted survey is gone on with by `resume`."
EXAMPLE = "keyplumb survey --port /dev/ttyACM0 --instrument fern --keys A0..C8 --out fern.h5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_port_and_out(parser)
    parser.add_argument("--keys", type=some_keys, help="C4, A0..C8, naturals, sharps, lists (default all)")
    parser.add_argument("--programme", metavar="NAME", help="slow (default), full, speeds, reset, repetition, or .toml")
    parser.add_argument("--plan", type=Path, metavar="PLAN.toml", help="keys, programmes and order from a file instead")
    add_midi(parser)
    add_about(parser)
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Warn, record, and say what was recorded."""
    if arguments.plan is not None and (arguments.keys or arguments.programme):
        arguments.wrong_use("--plan says which keys get which programmes: leave --keys and --programme")
    from daq.survey import Where, run_survey
    from keyplumb.commands.check import check_before
    from keyplumb.commands.survey_talk import motor_talk, print_result, stop_on_signals
    from recordings.writer import refuse_to_overwrite

    print(CAUTIONS, file=sys.stderr)
    stop_on_signals()
    where = Where(port_path=arguments.port, out=arguments.out, midi=arguments.midi)
    refuse_to_overwrite(where.out)
    plan = _plan(arguments)
    with motor_talk() as talk:
        plan = replace(plan, check=check_before(where.port_path, talk.tell, moves=True))
        return print_result(run_survey(where, plan, talk))


def _plan(arguments: argparse.Namespace) -> SurveyPlan:
    from daq.plan import describe, plan_visits, read_plan
    from daq.programme import load_programme
    from daq.survey import SurveyPlan
    from recordings.keys import ALL_KEYS

    if arguments.plan is not None:
        visits = read_plan(arguments.plan)
    else:
        visits = plan_visits(((arguments.keys or ALL_KEYS, load_programme(arguments.programme or "slow")),))
    return SurveyPlan(visits=visits, run=about_the_run(arguments, describe(visits)))
