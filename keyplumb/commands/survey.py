"""`keyplumb survey`: records the keys of an instrument with a motorised rig."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import CAUTIONS, about_the_run, add_about, add_midi, add_port_and_out, some_keys
from keyplumb.exit_codes import DONE

if TYPE_CHECKING:
    from daq.plan import Visit

NAME = "survey"
SUMMARY = "Record the keys of an instrument, key by key, by motor; an interrupted survey is gone on with by `resume`."
EXAMPLE = "keyplumb survey --port /dev/ttyACM0 --instrument fern --keys A0..C8 --out fern.h5"
FEWEST_CHECK_KEYS = 3
"""Each measured three times: one slope, three levels, what two recordings are off by, and three degrees of freedom."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_port_and_out(parser)
    parser.add_argument("--keys", type=some_keys, help="C4, A0..C8, naturals, sharps, lists (default all)")
    parser.add_argument("--programme", metavar="NAME", help="slow (default), full, speeds, reset, repetition, or .toml")
    parser.add_argument("--plan", type=Path, metavar="PLAN.toml", help="keys, programmes and order from a file instead")
    parser.add_argument(
        "--check-keys",
        type=some_keys,
        default=(),
        metavar="KEYS",
        help="three keys or more, better five, that are recorded once more before and after: for --checks",
    )
    add_midi(parser)
    add_about(parser)
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Warn, record, and say what was recorded."""
    if arguments.plan is not None and (arguments.keys or arguments.programme):
        arguments.wrong_use("--plan says which keys get which programmes: leave --keys and --programme")
    from daq.plan import describe
    from daq.survey import SurveyPlan, Where, run_survey
    from keyplumb.commands.check import check_before
    from keyplumb.commands.survey_talk import motor_talk, print_result, stop_on_signals
    from recordings.growing import partial_folder
    from recordings.writer import refuse_to_overwrite

    rounds = _rounds(arguments)
    print(CAUTIONS, file=sys.stderr)
    stop_on_signals()
    for one in rounds:
        refuse_to_overwrite(one.out)
    exit_code = DONE
    with motor_talk() as talk:
        check = check_before(arguments.port, talk.tell, moves=True)
        for place, one in enumerate(rounds):
            where = Where(port_path=arguments.port, out=one.out, midi=arguments.midi)
            plan = SurveyPlan(visits=one.visits, run=about_the_run(arguments, describe(one.visits)), check=check)
            try:
                exit_code = max(exit_code, print_result(run_survey(where, plan, talk)))
            except BaseException:
                if partial_folder(one.out).exists() and rounds[place + 1 :]:
                    talk.tell(_left_to_do(arguments, one, rounds[place + 1 :]))
                raise
    if len(rounds) > 1:
        before, whole, after = (one.out for one in rounds)
        print(f"drift is taken out by: keyplumb measure {whole} --checks {before} {after}")
    return exit_code


@dataclass(frozen=True, slots=True)
class _Round:
    """One recording of a survey."""

    out: Path
    visits: tuple[Visit, ...]


def _rounds(arguments: argparse.Namespace) -> tuple[_Round, ...]:
    """Return what is recorded: the keyboard, and check keys once before and once after it if there are any."""
    whole = _Round(arguments.out, _visits(arguments))
    if not arguments.check_keys:
        return (whole,)
    visited = {visit.key: visit for visit in whole.visits}
    missing = [key.name for key in arguments.check_keys if key not in visited]
    if missing:
        arguments.wrong_use(f"--check-keys: {', '.join(missing)} is not among the keys of the survey")
    if len(arguments.check_keys) < FEWEST_CHECK_KEYS:
        arguments.wrong_use(f"--check-keys: {FEWEST_CHECK_KEYS} keys at least, or drift cannot be told from chance")
    arguments.instrument = arguments.instrument or arguments.out.stem
    again = tuple(visited[key] for key in arguments.check_keys)
    before, after = (
        _Round(arguments.out.with_name(f"{arguments.out.stem}-{when}{arguments.out.suffix}"), again)
        for when in ("before", "after")
    )
    return before, whole, after


def _left_to_do(arguments: argparse.Namespace, interrupted: _Round, left: Sequence[_Round]) -> str:
    """Say how a survey of several recordings is gone on with by hand."""
    checks = ",".join(key.name for key in arguments.check_keys)
    whose = f"--instrument {arguments.instrument}" + (f" --serial {arguments.serial}" if arguments.serial else "")
    return (
        f"not begun: {', '.join(str(one.out) for one in left)}. When {interrupted.out} is whole (`keyplumb resume`), "
        f"record what is not begun by `keyplumb survey {whose}` with an --out of its own each, the check keys with "
        f"--keys {checks}"
    )


def _visits(arguments: argparse.Namespace) -> tuple[Visit, ...]:
    from daq.plan import plan_visits, read_plan
    from daq.programme import load_programme
    from recordings.keys import ALL_KEYS

    if arguments.plan is not None:
        return read_plan(arguments.plan)
    return plan_visits(((arguments.keys or ALL_KEYS, load_programme(arguments.programme or "slow")),))
