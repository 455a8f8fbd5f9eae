"""`keyplumb press`: records keys that a person presses by hand, each stroke judged at once."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import about_the_run, add_about, add_midi, add_port_and_out, some_keys, understood_by

if TYPE_CHECKING:
    from daq.survey import SurveyPlan
    from rig.profiles.profile import Profile

NAME = "press"
SUMMARY = "Record keys pressed by hand: every stroke is judged at once, good ones are counted; no motor is needed."
EXAMPLE = "keyplumb press C4..C5 --port /dev/ttyUSB0 --profile lines_csv --out moss.h5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("keys", type=some_keys, metavar="KEYS", help="C4, A0..C8, naturals, sharps, lists")
    add_port_and_out(parser)
    parser.add_argument(
        "--profile", metavar="NAME", help="the rig only prints lines: a built-in profile or a .toml file"
    )
    parser.add_argument("--strokes", type=understood_by(_strokes), default=3, help="good strokes a key (default 3)")
    add_midi(parser)
    add_about(parser)


def _strokes(text: str) -> int:
    strokes = int(text)
    if not 1 <= strokes <= 100:
        raise ValueError("between 1 and 100 strokes a key")
    return strokes


def run(arguments: argparse.Namespace) -> int:
    """Record what is pressed, and say what was recorded."""
    from daq.survey import Where, run_survey
    from keyplumb.commands.check import check_before
    from keyplumb.commands.survey_talk import hand_talk, print_result, stop_on_signals
    from recordings.writer import refuse_to_overwrite

    stop_on_signals()
    profile = profile_of(arguments.profile)
    where = Where(port_path=arguments.port, out=arguments.out, profile=profile, midi=arguments.midi)
    refuse_to_overwrite(where.out)
    plan = _plan(arguments)
    with hand_talk() as talk:
        if profile is None:  # a rig that only prints lines cannot be asked
            plan = replace(plan, check=check_before(where.port_path, talk.tell, moves=False))
        return print_result(run_survey(where, plan, talk))


def profile_of(name_or_path: str | None) -> Profile | None:
    """Return the profile of a rig that only prints lines, None for one that speaks the protocol."""
    from rig.profiles.profile import load_profile

    return None if name_or_path is None else load_profile(name_or_path)


def _plan(arguments: argparse.Namespace) -> SurveyPlan:
    from daq.plan import plan_visits
    from daq.programme import Programme, Strokes
    from daq.survey import SurveyPlan

    programme = Programme(
        name="by hand",
        summary="Strokes pressed by hand, judged one by one.",
        steps=(Strokes(do="strokes", count=arguments.strokes),),
    )
    visits = plan_visits(((arguments.keys, programme),))
    return SurveyPlan(visits=visits, run=about_the_run(arguments, f"by hand: {arguments.strokes} good strokes a key"))
