"""`keyplumb survey`: records the keys of an instrument with a motorised rig."""

from __future__ import annotations

import argparse
import signal
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.commands.arguments import some_keys, understood_by
from keyplumb.exit_codes import DONE, RIG_OR_LINK

if TYPE_CHECKING:
    from daq.survey import Progress as HowFar
    from daq.survey import SurveyPlan, SurveyResult
    from recordings.keys import Key

NAME = "survey"
SUMMARY = "Record the keys of an instrument: three slow strokes each, key by key, by motor."
EXAMPLE = "keyplumb survey --port /dev/ttyACM0 --instrument fern --keys A0..C8 --out fern.h5"
CAUTIONS = """\
The motor will move. Keep hands, hair and sleeves away from plunger and carriage: they can crush.
An emergency stop wired into the motor's supply must be within reach; Ctrl-C and the limits in software are no safety
function. Follow your local rules. Instruments on mains are opened by licensed people only; lead weights are toxic."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("--port", required=True, help="the rig's port: /dev/tty..., COM3, socket://host:port")
    parser.add_argument("--out", type=Path, required=True, metavar="REC.h5", help="the recording to be written")
    parser.add_argument(
        "--keys", type=some_keys, default="all", help="C4, A0..C8, naturals, sharps, lists (default all)"
    )
    parser.add_argument("--instrument", help="the keyboard's name (default: that of REC.h5)")
    parser.add_argument("--operator", help="who records")
    parser.add_argument("--celsius", type=float, help="temperature of the room")
    parser.add_argument("--strokes", type=understood_by(_strokes), default=3, help="strokes per key (default 3)")
    parser.add_argument("--speed", type=understood_by(_speed), default=4.0, help="mm/s, at most 5 (default 4)")


def _strokes(text: str) -> int:
    strokes = int(text)
    if not 1 <= strokes <= 100:
        raise ValueError("between 1 and 100 strokes a key")
    return strokes


def _speed(text: str) -> float:
    speed = float(text)
    if not 0.5 <= speed <= 5.0:
        raise ValueError("a slow stroke is between 0.5 and 5 mm/s; faster adds the key's inertia to its weight")
    return speed


def run(arguments: argparse.Namespace) -> int:
    """Warn, record, and say what was recorded."""
    print(CAUTIONS, file=sys.stderr)
    result = record(arguments.port, arguments.out, _plan(arguments))
    print(f"{result.path}: {len(result.recorded)} keys, {result.sample_count} samples")
    print(f"damage on the cable: {result.damage_count} reports")
    for absent in result.missed:
        print(f"keyplumb: {absent}", file=sys.stderr)
    return RIG_OR_LINK if result.missed else DONE


def _plan(arguments: argparse.Namespace) -> SurveyPlan:
    from daq.programme import SlowStrokes
    from daq.survey import SurveyPlan
    from recordings.types import RunInfo

    programme = SlowStrokes(strokes=arguments.strokes, speed_mm_per_s=arguments.speed)
    run_info = RunInfo(
        instrument=arguments.instrument or arguments.out.stem,
        started_at=datetime.now(UTC),
        software_version=__version__,
        programme=programme.describe(),
        operator=arguments.operator,
        room_celsius=arguments.celsius,
    )
    return SurveyPlan(keys=arguments.keys, programme=programme, run=run_info)


def record(port: str, out: Path, plan: SurveyPlan) -> SurveyResult:
    """Run a survey with a bar on stderr that says key, stroke and time left. SIGTERM and SIGHUP are like Ctrl-C."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    from daq.survey import run_survey

    for name in ("SIGTERM", "SIGHUP"):  # Windows has no SIGHUP
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:3.0f} %"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("greeting the rig", total=len(plan.keys))

        def show(progress: HowFar) -> None:
            stroke = f"stroke {progress.stroke} of {progress.stroke_count}" if progress.stroke else "approach"
            left = "" if progress.seconds_left is None else f", {_clock(progress.seconds_left)} left"
            done = progress.key_index + progress.stroke / (progress.stroke_count + 1)
            bar.update(task, completed=done, description=f"{progress.key.name:3} {stroke}{left}")

        return run_survey(port, out, plan, on_progress=show, place_rig=_place_rig)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _place_rig(key: Key) -> None:
    input(f"Set the rig over {key.name}, take your hands away and press Enter ")
