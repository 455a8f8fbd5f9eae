"""`keyplumb calibrate force|displacement|compliance|skew|contact`: guides a person at the bench and writes a record."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from keyplumb.calibrating.words import environment, gravity, with_u
from keyplumb.commands.arguments import understood_by
from keyplumb.exit_codes import WRONG_USE
from recordings.calibration_file import FOLDER

NAME = "calibrate"
SUMMARY = "Calibrate a rig with masses, gauge blocks, a rigid stop and a spring; writes a calibration record."
EXAMPLE = "keyplumb calibrate force --port /dev/ttyACM0 --masses masses.toml --gravity 9.8123±0.0002"
KINDS = {
    "force": "counts to newtons, by masses up and down in cycles",
    "displacement": "counts to millimetres, by gauge blocks, pressed from both sides",
    "compliance": "how far the rig itself gives, by presses on a rigid stop",
    "skew": "how late the force is against the way, by strokes of a steel spring at several speeds",
    "contact": "where the plunger meets the key: distance behind the front edge, and the lever",
}

VALID_DAYS = 365
"""A year is common practice for bench instruments that stay in one place; give fewer where they travel or work hard."""
NEEDED = {"force": ("masses", "gravity"), "displacement": ("blocks",)}
"""At the bench; readings from a file have their own."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words: one more word says what is calibrated."""
    kinds = parser.add_subparsers(title="what", metavar="WHAT", dest="what", required=True)
    for kind, summary in KINDS.items():
        one = kinds.add_parser(kind, help=summary, description=summary, allow_abbrev=False)
        one.add_argument(
            "folder", type=Path, nargs="?", default=Path(FOLDER), help=f"where records lie (default {FOLDER}/)"
        )
        source = one if kind == "contact" else one.add_mutually_exclusive_group(required=True)
        source.add_argument(
            "--port", required=kind == "contact", help="the rig's port: /dev/tty..., COM3, socket://..."
        )
        if kind != "contact":
            source.add_argument(
                "--from", dest="readings", type=Path, metavar="FILE", help="make a record of these readings again"
            )
        _add_references(one, kind)
        _add_about(one)


def _add_references(parser: argparse.ArgumentParser, kind: str) -> None:
    if kind == "force":
        parser.add_argument("--masses", type=Path, metavar="FILE", help="the masses, in TOML: class or certificate")
        parser.add_argument(
            "--gravity",
            type=understood_by(gravity),
            help="m/s2 with standard uncertainty (9.8123±0.0002), or latitude and height ('52.1N 40m')",
        )
        parser.add_argument("--cycles", type=understood_by(_cycles), default=3, help="up and down so often (default 3)")
    elif kind == "displacement":
        parser.add_argument(
            "--blocks", type=Path, metavar="FILE", help="the gauge blocks, in TOML: certificate or grade"
        )
    elif kind == "contact":
        parser.add_argument(
            "--behind-front",
            type=understood_by(with_u),
            required=True,
            metavar="MM±U",
            help="from the key's front edge to the plunger's middle; 13±0.5 is common practice",
        )
        parser.add_argument(
            "--lever", type=understood_by(with_u), metavar="MM±U", help="from the front edge to the balance rail"
        )


def _add_about(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--environment",
        type=understood_by(environment),
        metavar="TEXT",
        help="'21.5C, 40%%, 1013hPa', and the scale's change with temperature if known: '1e-4/K±2e-5'",
    )
    parser.add_argument("--operator", help="who calibrates")
    parser.add_argument(
        "--valid-days",
        type=understood_by(_valid_days),
        default=float(VALID_DAYS),
        metavar="DAYS",
        help=f"how long it may be relied on (default {VALID_DAYS}: common practice for an instrument in one place)",
    )
    parser.add_argument("--json", action="store_true", help="the result as JSON, in N and mm")


def _cycles(text: str) -> int:
    cycles = int(text)
    if not 1 <= cycles <= 20:
        raise ValueError("between 1 and 20 cycles; three are usual, one shows no repeatability")
    return cycles


def _valid_days(text: str) -> float:
    days = float(text)
    if not 0.0 < days <= 3660.0:
        raise ValueError("a calibration is valid for more than 0 and at most 3660 days")
    return days


def run(arguments: argparse.Namespace) -> int:
    """Calibrate, or derive a record from earlier readings, and say what was found."""
    from keyplumb.calibrating.course import calibrate_contact, calibrate_from_bench, calibrate_from_file

    if arguments.what == "contact":
        if arguments.lever is not None and arguments.lever.value <= max(arguments.behind_front.value, 0.0):
            print("keyplumb calibrate contact: the lever must be longer than --behind-front", file=sys.stderr)
            return WRONG_USE
        return calibrate_contact(arguments)
    needed = [f"--{name}" for name in NEEDED.get(arguments.what, ()) if getattr(arguments, name) is None]
    if arguments.port is not None and needed:
        print(f"keyplumb calibrate {arguments.what}: {' and '.join(needed)} must be given with --port", file=sys.stderr)
        return WRONG_USE
    return calibrate_from_file(arguments) if arguments.readings is not None else calibrate_from_bench(arguments)
