"""`keyplumb demo`: the whole job on the virtual rig, from a serial port to a report, then held against the truth."""

from __future__ import annotations

import argparse
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
from keyplumb.exit_codes import DONE, FAILED

if TYPE_CHECKING:
    from keyplumb.truth_check import TruthCheck
    from processing.display import Units

NAME = "demo"
SUMMARY = "Survey a virtual keyboard through a real serial port, measure it and write the report."
EXAMPLE = "keyplumb demo --scenario moss --out demo"
SPEED = 60.0
"""More than two cores can do, so the rig runs as fast as it can be simulated."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("--scenario", default="fern", choices=("fern", "moss"), help="the keyboard (default fern)")
    parser.add_argument(
        "--out", type=Path, default=Path("demo"), metavar="FOLDER", help="where to write (default demo)"
    )
    parser.add_argument("--keys", type=some_keys, default="all", help="only these keys (default all)")
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Record, measure, report, compare. Exit 1 if a faulty key was overlooked or a good one named."""
    from keyplumb.truth_check import check_against
    from processing.calibration_status import marked
    from processing.display import parse_units
    from processing.report.recorded import Made, Recorded, source_file
    from processing.report.write import write_report
    from processing.summary import odd_key_sentences, summary
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    units = parse_units(arguments.units)
    arguments.out.mkdir(parents=True, exist_ok=True)
    recording = arguments.out / f"{arguments.scenario}.h5"
    truths = arguments.out / f"{arguments.scenario}-truths.json"
    _forget_last_demo(recording)
    _survey(arguments, recording, truths)
    with open_recording(recording) as opened:
        result = analyse_file(opened)
    made = Made(f"keyplumb report {recording.name} --units {arguments.units}", __version__)
    recorded = Recorded(result, file=source_file(recording))
    written = write_report([recorded], recording.with_suffix(""), units, made=made)

    print(f"\n{result.header.run.instrument}, surveyed through a serial port")
    for sentence in summary(result, units):
        print(f"  {sentence}")
    print("\nKeys that stand out")
    for name, why in odd_key_sentences(result, units) or [("none", "")]:
        print(f"  {name:4} {why}")
    check = check_against(truths, result)
    _print_check(check, marked(units, result.header))
    print("\nWritten")
    for path in (recording, *written, truths):
        print(f"  {path}")
    return FAILED if check.overlooked or check.wrongly_named else DONE


def _forget_last_demo(recording: Path) -> None:
    """Remove what an earlier demo wrote: this is the demo's own file, nobody's data."""
    from recordings.partial import partial_folder

    recording.unlink(missing_ok=True)
    shutil.rmtree(partial_folder(recording), ignore_errors=True)


def _survey(arguments: argparse.Namespace, recording: Path, truths: Path) -> None:
    from daq.plan import describe, plan_visits
    from daq.programme import load_programme
    from daq.survey import SurveyPlan, Where, run_survey
    from keyplumb.commands.check import check_before
    from keyplumb.commands.survey_talk import motor_talk, stop_on_signals
    from recordings.types import RunInfo

    visits = plan_visits(((arguments.keys, load_programme("slow")),))
    run_info = RunInfo(
        instrument=arguments.scenario,
        started_at=datetime.now(UTC),
        software_version=__version__,
        programme=describe(visits),
        operator="Tern Lane Actions",
        note="virtual rig: invented keys",
    )
    stop_on_signals()
    with virtual_rig(arguments.scenario, truths) as port, motor_talk() as talk:
        talk.tell(f"a virtual rig with {arguments.scenario} answers at {port}; recording {len(visits)} keys")
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


def _print_check(check: TruthCheck, units: Units) -> None:
    found = len(check.planted) - len(check.overlooked)
    print(f"\nHeld against the truths of the virtual rig: {found} of {len(check.planted)} faulty keys named")
    for key, fault in check.planted.items():
        print(f"  {key:4} {fault.replace('_', ' ')}: {'overlooked' if key in check.overlooked else 'named'}")
    if check.wrongly_named:
        print(f"  named without a fault: {', '.join(check.wrongly_named)}")
    heads = f"{'keys':>5}{'median':>10}{'95 %':>10}{'bias':>10}  {'unit':20}{'in U95':>7}{'missing':>9}{'invented':>10}"
    print(f"\n  {'error of':24}{heads}")
    for row in check.rows:
        shown = [f"{units.value(size, row.unit):10.3f}" for size in (row.median, row.percentile_95, row.bias)]
        unit = units.of(row.unit)
        print(
            f"  {row.name:24}{row.count:5}{''.join(shown)}  {unit:20}{row.covered:7.0%}{row.missing:9}{row.invented:10}"
        )
    within = sum(row.covered * row.count for row in check.rows) / max(1, sum(row.count for row in check.rows))
    print(f"  {within:.0%} of all truths lie inside the stated 95 % interval (the calibration has no part in it yet)")
