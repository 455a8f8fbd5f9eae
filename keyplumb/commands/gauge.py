"""`keyplumb gauge plan|record|study|bias|stability|days|rigs`: is the rig fit for the limits?"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

from keyplumb.commands.arguments import add_calibration, add_units, one_key, some_keys, understood_by

NAME = "gauge"
SUMMARY = (
    "Say whether the rig is fit for the limits: a study of keys, operators and trials; bias; stability; several rigs."
)
EXAMPLE = "keyplumb gauge study moss-study --tolerance down_weight=6gf"
KINDS = {
    "plan": "draw who presses which key when, at random, into a folder",
    "record": "guide the operators through a study's presses and record them; goes on where it was stopped",
    "study": "analyse a crossed study: repeatability, reproducibility, keys; a verdict by limits",
    "bias": "bias and linearity, from readings of references",
    "stability": "a daily check standard: is the rig still the one it was",
    "days": "how much readings differ within a day, from day to day, from run to run",
    "rigs": "do several rigs agree: h, k, repeatability and reproducibility limits",
}
MOST_PRESSES = 2000
NEGATIVE = re.compile(r"-[0-9.].*")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words: one more word says what is to be done."""
    kinds = parser.add_subparsers(title="what", metavar="WHAT", dest="what", required=True)
    one = {
        kind: kinds.add_parser(kind, help=summary, description=summary, allow_abbrev=False)
        for kind, summary in KINDS.items()
    }
    _add_plan(one["plan"])
    _add_record(one["record"])
    _add_study(one["study"])
    _add_bias(one["bias"])
    _add_stability(one["stability"])
    _add_table(one["days"], "key, run, day, value")
    _add_table(one["rigs"], "key, rig, trial, value")


def _add_plan(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="of the study; is made")
    parser.add_argument("--keys", type=some_keys, required=True, help="ten spread over the keyboard are usual")
    parser.add_argument("--operators", type=understood_by(_operators), required=True, help="names with commas")
    parser.add_argument(
        "--trials", type=understood_by(_trials), default=3, help="how often each presses each key (default 3)"
    )
    parser.add_argument("--programme", default="slow", metavar="NAME", help="what is done to a key (default slow)")
    parser.add_argument("--instrument", metavar="MODEL", help="model of the keyboard, as limits name it")
    parser.add_argument("--seed", type=int, default=1, help="of the random order (default 1); kept in the plan")
    parser.set_defaults(wrong_use=parser.error)


def _add_record(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="with the plan; recordings are kept there")
    parser.add_argument("--port", required=True, help="the rig's port: /dev/tty..., COM3, socket://host:port")
    parser.add_argument("--by-hand", action="store_true", help="the operators press; no motor moves")
    parser.add_argument("--profile", metavar="NAME", help="the rig only prints lines, and is pressed by hand")


def _add_study(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "source", type=Path, metavar="FOLDER|READINGS.csv", help="a study, or a table: part, operator, trial, value"
    )
    parser.add_argument(
        "--tolerance",
        type=understood_by(_tolerance),
        action="append",
        default=[],
        metavar="MEASURAND=WIDTH",
        help="from limit to limit, as in down_weight=6gf; may be given several times",
    )
    _add_limits(parser)
    _add_measurands(parser)
    add_calibration(parser)
    _add_out(parser)
    parser.set_defaults(wrong_use=parser.error)


def _add_bias(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="READINGS.csv", help="a table: reference, value; if known u, unit")
    parser.add_argument(
        "--allowed", type=understood_by(_width), metavar="BIAS", help="the bias that does no harm, as in 0.5gf"
    )
    parser._negative_number_matcher = (
        NEGATIVE  # argparse would take -1gf for an option, and say that a value is missing
    )
    _add_out(parser)


def _add_stability(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "source", type=Path, metavar="FOLDER|STORE|READINGS.csv", help="recordings, a store of units, or a table"
    )
    parser.add_argument("--key", type=one_key, help="the kept key in the folder's recordings")
    parser.add_argument("--serial", help="the kept unit in a store")
    parser.add_argument(
        "--measurand",
        type=understood_by(_measurand),
        default="down_weight",
        help="what is watched of it (default down_weight)",
    )
    add_calibration(parser)
    _add_out(parser)
    parser.set_defaults(wrong_use=parser.error)


def _add_table(parser: argparse.ArgumentParser, columns: str) -> None:
    parser.add_argument("source", type=Path, metavar="READINGS.csv", help=f"a table: {columns}; if known unit")
    parser.add_argument("--json", action="store_true", help="all numbers as JSON, in N and mm")
    add_units(parser)


def _add_limits(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--limits", type=Path, metavar="L.toml", help="a limits file, as `inspect` reads it")


def _add_measurands(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--measurands",
        type=understood_by(_measurands),
        default=(),
        help="with commas (default: those with a tolerance, else the usual ones)",
    )


def _add_out(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--picture", type=Path, metavar="FILE", help="draw it too: .png, .pdf or .svg")
    parser.add_argument("--json", action="store_true", help="all numbers as JSON, in N and mm")
    add_units(parser)


def _operators(text: str) -> tuple[str, ...]:
    names = tuple(name.strip() for name in text.split(","))
    if len(names) < 2 or "" in names or len(set(names)) < len(names):
        raise ValueError("two different names at least, with a comma between: Ada,Ben")
    return names


def _trials(text: str) -> int:
    trials = int(text)
    if not 2 <= trials <= 20:
        raise ValueError("between 2 and 20 trials; three are usual")
    return trials


def _measurands(text: str) -> tuple[str, ...]:
    from processing.features.table import FEATURES

    known = {feature.name for feature in FEATURES}
    names = tuple(dict.fromkeys(name.strip() for name in text.split(",")))
    unknown = [name for name in names if name not in known]
    if unknown:
        raise ValueError(f"{unknown[0]!r} is no measurand; README.md lists them")
    return names


def _measurand(text: str) -> str:
    (name,) = _measurands(text.replace(",", " "))
    return name


def _tolerance(text: str) -> object:
    from keyplumb.gauging.tolerances import tolerance_of

    return tolerance_of(text)


def _width(text: str) -> tuple[float, str]:
    from keyplumb.gauging.tolerances import quantity

    return quantity(text)


def _demand_measurands(names: Sequence[str], wrong_use: Callable[[str], NoReturn]) -> None:
    """End in wrong use if a tolerance is for what no recording has; a table may call its columns as it likes."""
    from processing.measurand_units import UNIT_OF, like_it

    for name in names:
        if name not in UNIT_OF:
            wrong_use(f"argument --tolerance: {name!r} is no measurand; {like_it(name)}")


def run(arguments: argparse.Namespace) -> int:
    """Do what the second word says."""
    from keyplumb.gauging import courses, references

    if arguments.what == "plan":
        presses = len(arguments.keys) * len(arguments.operators) * arguments.trials
        if len(arguments.keys) < 2 or presses > MOST_PRESSES:
            arguments.wrong_use(f"two keys at least, and {MOST_PRESSES} presses at most; these would be {presses}")
        return courses.plan_study(arguments)
    if arguments.what == "stability" and arguments.source.is_dir() and arguments.key is None:
        arguments.wrong_use("--key must say which key of the recordings is the kept one")
    if arguments.what == "study" and arguments.source.is_dir():
        _demand_measurands([name for name, _ in arguments.tolerance], arguments.wrong_use)
    return {
        "record": courses.record,
        "study": courses.analyse_study,
        "bias": references.analyse_bias,
        "stability": references.analyse_stability,
        "days": references.analyse_days,
        "rigs": references.analyse_rigs,
    }[arguments.what](arguments)
