"""`keyplumb survey`: records the keys of an instrument with a motorised rig."""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.commands.arguments import some_keys
from keyplumb.exit_codes import DONE, RIG_OR_LINK

if TYPE_CHECKING:
    from daq.survey import SurveyPlan, SurveyResult
    from daq.talk import Progress, Talk
    from recordings.keys import Key

DEFAULT_BAUD = 921_600
NAME = "survey"
SUMMARY = "Record the keys of an instrument, key by key, by motor; stop at any time and go on with --resume."
EXAMPLE = "keyplumb survey --port /dev/ttyACM0 --instrument fern --keys A0..C8 --out fern.h5"
CAUTIONS = """\
The motor will move. Keep hands, hair and sleeves away from plunger and carriage: they can crush.
An emergency stop wired into the motor's supply must be within reach; Ctrl-C and the limits in software are no safety
function. Follow your local rules. Instruments on mains are opened by licensed people only; lead weights are toxic."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("--port", required=True, help="the rig's port: /dev/tty..., COM3, socket://host:port")
    parser.add_argument("--out", type=Path, required=True, metavar="REC.h5", help="the recording to be written")
    what = parser.add_argument_group("what to record")
    what.add_argument("--keys", type=some_keys, default="all", help="C4, A0..C8, naturals, sharps, lists (default all)")
    what.add_argument("--programme", default="slow", metavar="NAME", help="slow, full, speeds, ... or a .toml file")
    what.add_argument("--plan", type=Path, metavar="PLAN.toml", help="keys, programmes and order from a file instead")
    what.add_argument("--resume", action="store_true", help="go on with the interrupted survey of REC.h5")
    about = parser.add_argument_group("about it")
    about.add_argument("--instrument", help="the keyboard's name (default: that of REC.h5)")
    about.add_argument("--operator", help="who records")
    about.add_argument("--celsius", type=float, help="temperature of the room")
    parser.add_argument("--baud", type=int, default=DEFAULT_BAUD, help=f"default {DEFAULT_BAUD}")


def run(arguments: argparse.Namespace) -> int:
    """Warn, record, and say what was recorded."""
    from daq.survey import Where, resume_survey, run_survey

    print(CAUTIONS, file=sys.stderr)
    where = Where(port_path=arguments.port, out=arguments.out, baud=arguments.baud)
    stop_on_signals()
    with talk() as spoken:
        result = resume_survey(where, spoken) if arguments.resume else run_survey(where, _plan(arguments), spoken)
    print_result(result)
    return RIG_OR_LINK if result.missed else DONE


def _plan(arguments: argparse.Namespace) -> SurveyPlan:
    from daq.plan import describe, plan_visits, read_plan
    from daq.programme import load_programme
    from daq.survey import SurveyPlan
    from recordings.types import RunInfo

    if arguments.plan is not None:
        visits = read_plan(arguments.plan)
    else:
        visits = plan_visits(((arguments.keys, load_programme(arguments.programme)),))
    run_info = RunInfo(
        instrument=arguments.instrument or arguments.out.stem,
        started_at=datetime.now(UTC),
        software_version=__version__,
        programme=describe(visits),
        operator=arguments.operator,
        room_celsius=arguments.celsius,
    )
    return SurveyPlan(visits=visits, run=run_info)


def print_result(result: SurveyResult) -> None:
    """Say what a survey has done."""
    print(f"{result.path}: {len(result.recorded)} keys, {result.sample_count} samples")
    for outcome, keys in (("not found", result.missed), ("skipped", result.skipped)):
        if keys:
            print(f"{outcome}: {', '.join(key.name for key in keys)}")
    print(f"damage on the cable: {result.damage_count} reports")


def stop_on_signals() -> None:
    """Make SIGTERM and SIGHUP like Ctrl-C, and Ctrl-C itself sure: a program started with `&` ignores it otherwise."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # Windows has no SIGHUP
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)


@contextmanager
def talk() -> Iterator[Talk]:
    """Give a bar on stderr that says key, stroke and time left, and takes sentences between."""
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    from daq.talk import Talk

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:3.0f} %"))
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("greeting the rig", total=1.0)

        def show(progress: Progress) -> None:
            left = "" if progress.seconds_left is None else f", {_clock(progress.seconds_left)} left"
            place = f"{progress.key.name:3} {progress.key_index + 1} of {progress.key_count}"
            bar.update(task, completed=progress.share, description=f"{place}: {progress.doing}{left}")

        def say(sentence: str) -> None:
            bar.console.print(f"keyplumb: {sentence}", markup=False, highlight=False)

        yield Talk(progress=show, place_rig=_place_rig, tell=say)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _place_rig(key: Key) -> None:
    input(f"Set the rig over {key.name}, take your hands away and press Enter ")
