"""`keyplumb inspect`: units against their limits - pass, fail or cannot tell, with the reason."""

from __future__ import annotations

import argparse
import json
import sys
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import (
    add_about,
    add_calibration,
    add_hands,
    add_midi,
    add_units,
    chosen_calibration,
)
from keyplumb.commands.inspect_places import demand_different_files, demand_places, demand_store, written
from keyplumb.commands.learn_talk import learn
from keyplumb.exit_codes import CANNOT_TELL, DONE, FAILED

if TYPE_CHECKING:
    from processing.display import Units
    from processing.keyboard import KeyboardResult
    from processing.limits.types import Limits
    from processing.limits.verdict import UnitVerdict

NAME = "inspect"
SUMMARY = "Hold a unit against a limits file: pass, fail or cannot tell, per key and for the unit, with the reason."
EXAMPLE = "keyplumb inspect moss-001.h5 --limits moss.toml --pdf moss-001.pdf"
SPOKEN = {"recordings": "UNIT.h5"}
"""What words are called that begin with no dashes."""
ABOUT = ("instrument", "serial", "operator", "celsius", "midi")
"""What only a recording that is made now can be told."""
BESIDE_NEW_LIMITS = (
    "recordings", "limits", "learn", "json", "csv", "junit", "pdf", "calibration", "workers", "cluster", "store",
    "port", "out", "programme", "stop_on_fail", *ABOUT,
)  # fmt: skip
CODE_OF = {"pass": DONE, "fail": FAILED, "cannot tell": CANNOT_TELL}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("recordings", type=Path, nargs="*", metavar="UNIT.h5", help="the recordings, one a unit")
    parser.add_argument("--limits", type=Path, metavar="L.toml", help="the limits file")
    parser.add_argument("--new-limits", type=Path, metavar="FILE", help="write an example of a limits file, and stop")
    parser.add_argument(
        "--learn", type=Path, nargs="+", metavar="GOOD.h5", help="propose limits from good units, one recording each"
    )
    parser.add_argument(
        "--json", action="store_true", help="every decision as JSON, in N, mm, mJ; of several units a line each"
    )
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write a row a decision")
    parser.add_argument("--junit", type=Path, metavar="FILE", help="write JUnit XML, a test case a key")
    parser.add_argument("--pdf", type=Path, metavar="FILE", help="write one page to print")
    add_calibration(parser)
    add_units(parser)
    many = add_hands(parser)
    many.add_argument("--store", type=Path, metavar="DIR", help="add the units to this store (`keyplumb trend`)")
    live = parser.add_argument_group(
        "survey and judge at once", "in place of UNIT.h5; the keys are those that the limits expect"
    )
    live.add_argument("--port", help="the rig's port; the motor will move")
    live.add_argument("--out", type=Path, metavar="UNIT.h5", help="what is written: this, or the limits of --learn")
    live.add_argument("--programme", metavar="NAME", help="slow (default), full, speeds, reset, repetition, or .toml")
    live.add_argument("--stop-on-fail", action="store_true", help="record no more keys when one fails for certain")
    add_midi(live)
    add_about(parser)
    parser.set_defaults(wrong_use=parser.error)


def run(arguments: argparse.Namespace) -> int:
    """Read the limits, measure, judge, print; the exit code is the verdict."""
    if arguments.new_limits is not None:
        return _write_new_limits(arguments)
    if arguments.learn is not None:
        return learn(arguments)
    _demand_sense(arguments)
    demand_places(arguments, _units_files(arguments))
    demand_store(arguments.store, arguments.wrong_use)
    if len(arguments.recordings) > 1 or arguments.cluster:
        from keyplumb.commands.inspect_many import inspect_many

        return inspect_many(arguments)
    return _inspect_one(arguments)


def _inspect_one(arguments: argparse.Namespace) -> int:
    from processing.display import parse_units
    from processing.limits.judge import judge
    from processing.limits.reading import read_limits
    from processing.limits.sentences import nameless

    limits = read_limits(arguments.limits)
    if arguments.port is not None:
        from keyplumb.commands.inspect_live import survey_and_judge

        survey_and_judge(arguments, limits)
    result = _measured(arguments, limits)
    verdict = judge(result, limits)
    if caution := nameless(verdict.header.run):
        print(f"keyplumb: {_units_files(arguments)[0]}: {caution}", file=sys.stderr)
    with ExitStack() as stack:  # from the last to the first, each whatever becomes of the others
        stack.callback(tell_verdict, verdict, limits, parse_units(arguments.units), as_json=arguments.json)
        stack.callback(write_verdict, arguments, verdict, result, limits)
        stack.callback(_keep, arguments, verdict, result)
    return CODE_OF[verdict.outcome]


def _keep(arguments: argparse.Namespace, verdict: UnitVerdict, result: KeyboardResult) -> None:
    """Add the unit to the store, if there is one."""
    if arguments.store is not None:
        from keyplumb.many.inspecting import Inspected, add_to_store, sha256_of

        add_to_store(arguments.store, Inspected(verdict, result, sha256_of(_units_files(arguments)[0])))


def _write_new_limits(arguments: argparse.Namespace) -> int:
    if others := [name for name in BESIDE_NEW_LIMITS if getattr(arguments, name) not in (None, False, [])]:
        arguments.wrong_use(f"--new-limits writes an example and does nothing else: leave {spoken(others)}")
    from processing.limits.new_limits import write_new_limits

    write_new_limits(arguments.new_limits)
    print(arguments.new_limits)
    return DONE


def spoken(names: list[str]) -> str:
    """Return words of the command line as they are written there."""
    return ", ".join(SPOKEN.get(name, f"--{name.replace('_', '-')}") for name in names)


def _demand_sense(arguments: argparse.Namespace) -> None:
    """Refuse words that do not go together."""
    demand_different_files(arguments.recordings, arguments.wrong_use)
    if arguments.limits is None or not (arguments.recordings or arguments.port):
        arguments.wrong_use("which unit, and which limits? keyplumb inspect UNIT.h5 --limits L.toml")
    if arguments.port is None and (arguments.out or arguments.stop_on_fail or arguments.programme):
        arguments.wrong_use("--out, --programme and --stop-on-fail are for a survey: say which rig with --port")
    told = [name for name in ABOUT if getattr(arguments, name) is not None]
    if arguments.port is None and told:
        arguments.wrong_use(f"{spoken(told)}: a recording keeps what it was told when it was made; leave it out")
    if arguments.port is not None:
        if arguments.recordings or arguments.cluster or arguments.out is None:
            arguments.wrong_use("with --port the unit is recorded first: leave UNIT.h5 and say where with --out")
        if arguments.calibration is not None:
            arguments.wrong_use(
                "a survey takes the rig's newest record: leave --calibration, and inspect UNIT.h5 by it"
            )


def _units_files(arguments: argparse.Namespace) -> list[Path]:
    """Return the recordings that are judged."""
    return [arguments.out] if arguments.port is not None else arguments.recordings


def _measured(arguments: argparse.Namespace, limits: Limits) -> KeyboardResult:
    """Return the results of the unit, measured as its limits expect."""
    from keyplumb.many.inspecting import as_expected
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    with open_recording(_units_files(arguments)[0]) as opened, as_expected(limits):
        settings = limits.expected.settings()
        return analyse_file(opened, settings, record=chosen_calibration(arguments), workers=arguments.workers)


def tell_verdict(verdict: UnitVerdict, limits: Limits, units: Units, *, as_json: bool) -> None:
    """Print a verdict: JSON, or a line for the unit and one for each of the worst keys."""
    from processing.calibration_status import marked
    from processing.limits.sentences import key_sentence, reason_in_words, told_keys, told_of_the_unit, unit_sentence
    from processing.limits.view import inspect_view

    if as_json:
        print(json.dumps(inspect_view(verdict, limits), indent=1, allow_nan=False))
        return
    units = marked(units, verdict.header)
    keys, more = told_keys(verdict)
    print(unit_sentence(verdict, units))
    for decision in told_of_the_unit(verdict):
        print(f"  the unit: {decision.outcome}: {reason_in_words(decision, units)}")
    for key in keys:
        print(f"  {key_sentence(key, units)}")
    if more:
        print(f"  and {more} more that do not pass; --json, --csv tell all")


def write_verdict(arguments: argparse.Namespace, verdict: UnitVerdict, result: KeyboardResult, limits: Limits) -> None:
    """Write the files that were asked for, each whole or not at all."""
    from processing.display import parse_units
    from processing.limits.junit import junit_xml
    from processing.limits.view import decision_table
    from recordings.safe_files import whole_or_nothing

    units = parse_units(arguments.units)
    if arguments.csv is not None:
        with whole_or_nothing(arguments.csv) as temporary:
            decision_table(verdict).to_csv(temporary, index=False, lineterminator="\n")
    if arguments.junit is not None:
        with whole_or_nothing(arguments.junit) as temporary:
            temporary.write_bytes(junit_xml(verdict, limits, units))
    if arguments.pdf is not None:
        from processing.limits.page import Judged, write_page

        with whole_or_nothing(arguments.pdf) as temporary:
            write_page(Judged(verdict, result, limits, datetime.now(UTC)), temporary, units)
    for path in written(arguments).values():
        print(path, file=sys.stderr)
