"""`keyplumb demo`: the whole job on virtual rigs, from serial ports to a report, then held against the truth.

How it works: both prototypes are surveyed at the same time, each by a rig of its own: the first here, with a bar, the
second in a process beside it. Then both are measured, compared and reported, and held against what the rigs know.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.commands.arguments import add_units, some_keys
from keyplumb.exit_codes import DONE, FAILED, exit_code_of

if TYPE_CHECKING:
    from daq.talk import Talk
    from processing.keyboard import KeyboardResult
    from recordings.keys import Key

NAME = "demo"
SUMMARY = "Survey two virtual keyboards through real serial ports, measure and compare them and write the report."
EXAMPLE = "keyplumb demo --scenario moss --out demo"
SCENARIOS = ("fern", "moss")
SPEED = 60.0
"""More than two cores can do, so the rig runs as fast as it can be simulated."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument(
        "--scenario", default="both", choices=("both", *SCENARIOS), help="which keyboard (default both)"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("demo"), metavar="FOLDER", help="where to write (default demo)"
    )
    parser.add_argument("--keys", type=some_keys, default="all", help="only these keys (default all)")
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Record, measure, report, compare.

    Exit 1 if a faulty key was overlooked or a good one named, a planted difference missed or one invented.
    """
    from keyplumb.commands.demo_talk import tell_comparison, tell_keyboard
    from processing.display import parse_units
    from processing.report.write import demand_places, places_of
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    units = parse_units(arguments.units)
    names = SCENARIOS if arguments.scenario == "both" else (arguments.scenario,)
    arguments.out.mkdir(parents=True, exist_ok=True)
    recordings = [arguments.out / f"{name}.h5" for name in names]
    demand_places(*places_of(_stem(recordings)))
    for recording in recordings:
        _demand_a_demo(recording)
    for recording in recordings:
        _forget_last_demo(recording)
    code = _survey_all(recordings, arguments.keys)
    if code != DONE:
        return code
    results = []
    for recording in recordings:
        with open_recording(recording) as opened:
            results.append(analyse_file(opened))
    right = [tell_keyboard(result, truths_of(path), units) for result, path in zip(results, recordings, strict=True)]
    if len(results) == 2:
        right.append(tell_comparison(results, [truths_of(path) for path in recordings], units))
    print("\nWritten")
    for path in (*recordings, *_report(results, recordings, arguments.units), *map(truths_of, recordings)):
        print(f"  {path}")
    return DONE if all(right) else FAILED


def truths_of(recording: Path) -> Path:
    """Return where the virtual rig writes what it knows of the keys of a recording."""
    return recording.with_name(f"{recording.stem}-truths.json")


def _report(results: list[KeyboardResult], recordings: list[Path], units: str) -> tuple[Path, Path]:
    """Write the report of all, side by side."""
    from processing.display import parse_units
    from processing.report.recorded import Made, Recorded, source_file
    from processing.report.write import write_report

    print("keyplumb: writing the report", file=sys.stderr)
    made = Made(f"keyplumb report {' '.join(path.name for path in recordings)} --units {units}", __version__)
    recorded = [Recorded(result, file=source_file(path)) for result, path in zip(results, recordings, strict=True)]
    return write_report(recorded, _stem(recordings), parse_units(units), made=made)


def _stem(recordings: list[Path]) -> Path:
    return recordings[0].with_name("-".join(path.stem for path in recordings))


def _demand_a_demo(recording: Path) -> None:
    """Raise FileIsThere if a recording of that name is there and no demo made it: it may be somebody's."""
    from processing.errors import FileIsThere

    if recording.exists() and not truths_of(recording).is_file():
        raise FileIsThere(recording, "it is of no earlier demo; choose another folder with --out")


def _forget_last_demo(recording: Path) -> None:
    """Remove what an earlier demo wrote: this is the demo's own file, nobody's data."""
    from recordings.partial import partial_folder

    recording.unlink(missing_ok=True)
    shutil.rmtree(partial_folder(recording), ignore_errors=True)


def _survey_all(recordings: list[Path], keys: tuple[Key, ...]) -> int:
    """Survey every keyboard at the same time, and return the exit code: that of the first that went wrong."""
    from keyplumb.commands.survey_talk import motor_talk, stop_on_signals

    stop_on_signals()
    with _beside([(recording, keys) for recording in recordings[1:]]) as others:
        with motor_talk() as talk:
            for recording in recordings[1:]:
                talk.tell(f"{recording.stem} is surveyed at the same time, beside this")
            _survey(recordings[0], keys, talk)
        for other in others:
            other.join()
        return next((other.exitcode for other in others if other.exitcode), DONE)


@contextmanager
def _beside(surveys: list[tuple[Path, tuple[Key, ...]]]) -> Iterator[list[multiprocessing.Process]]:
    """Run surveys in processes of their own; whatever happens here, none is left behind."""
    others = [multiprocessing.Process(target=_survey_beside, args=survey) for survey in surveys]
    for other in others:
        other.start()
    try:
        yield others
    finally:
        for other in others:
            other.terminate()
            other.join()


def _survey_beside(recording: Path, keys: tuple[Key, ...]) -> None:
    """Survey without a bar; trouble is one sentence and an exit code, as of a command."""
    from daq.talk import Talk
    from keyplumb.commands.survey_talk import stop_on_signals

    stop_on_signals()
    silent = Talk(progress=lambda _: None, place_rig=lambda _: None, tell=lambda _: None)
    try:
        _survey(recording, keys, silent)
    except (Exception, KeyboardInterrupt) as trouble:
        code = exit_code_of(trouble)
        if code is None:
            raise
        if isinstance(trouble, Exception):
            print(f"keyplumb: {recording.stem}: {trouble}", file=sys.stderr)
        sys.exit(code)


def _survey(recording: Path, keys: tuple[Key, ...], talk: Talk) -> None:
    from daq.plan import describe, plan_visits
    from daq.programme import load_programme
    from daq.survey import SurveyPlan, Where, run_survey
    from keyplumb.commands.check import check_before
    from recordings.types import RunInfo

    scenario = recording.stem
    visits = plan_visits(((keys, load_programme("slow")),))
    run_info = RunInfo(
        instrument=scenario,
        started_at=datetime.now(UTC),
        software_version=__version__,
        programme=describe(visits),
        operator="Tern Lane Actions",
        note="virtual rig: invented keys",
    )
    with virtual_rig(scenario, truths_of(recording)) as port:
        talk.tell(f"a virtual rig with {scenario} answers at {port}; recording {len(visits)} keys")
        check = check_before(port, talk.tell, moves=True)
        run_survey(Where(port_path=port, out=recording), SurveyPlan(visits=visits, run=run_info, check=check), talk)


@contextmanager
def virtual_rig(scenario: str, truths: Path, *, speed: float = SPEED) -> Iterator[str]:
    """Start `keyplumb virtual-rig` as a program of its own and give its port; stop it afterwards."""
    words = [sys.executable, "-m", "keyplumb", "virtual-rig", "--scenario", scenario]
    words += ["--speed", str(speed), "--truths", str(truths)]
    if os.name != "posix":
        words += ["--tcp", "0"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as program:
        try:
            assert program.stdout is not None
            yield program.stdout.readline().strip()
        finally:
            program.terminate()
