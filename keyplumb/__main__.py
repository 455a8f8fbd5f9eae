"""The command line: reads the words, calls the command, turns trouble into one sentence and an exit code.

argparse, because `--help` must answer in a blink: see decision 11 in DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import sys
from types import ModuleType

from keyplumb import __version__
from keyplumb.commands import (
    calibrate,
    check,
    compare,
    demo,
    demo_line,
    export,
    gallery,
    gauge,
    import_,
    info,
    inspect,
    measure,
    ports,
    press,
    repair,
    report,
    resume,
    survey,
    trend,
    virtual_rig,
)
from keyplumb.exit_codes import exit_code_of, in_words
from keyplumb.outlets import heard_or_not

COMMANDS: tuple[ModuleType, ...] = (
    demo,
    demo_line,
    ports,
    check,
    calibrate,
    survey,
    press,
    resume,
    repair,
    import_,
    measure,
    compare,
    inspect,
    report,
    export,
    trend,
    gallery,
    gauge,
    info,
    virtual_rig,
)

CODES_IN_WORDS = """\
exit codes: 0 done, 1 done and the verdict is fail, 6 done and the verdict is cannot tell, 2 wrong use, 3 bad input or
file, 4 rig or link, 5 stopped for safety, 130 interrupted"""


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="keyplumb",
        description="Measure how a keyboard key feels: force and travel of every key, as numbers with uncertainties.",
        epilog=f"example: keyplumb demo --out demo\n\n{CODES_IN_WORDS}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"keyplumb {__version__}")
    parser.add_argument("--debug", action="store_true", help="show where in the program an error arose")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for command in COMMANDS:
        one = commands.add_parser(
            command.NAME,
            help=command.SUMMARY,
            description=command.SUMMARY,
            epilog=f"example: {command.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        command.add_arguments(one)
        one.set_defaults(run=command.run)
    return parser


def main(words: list[str] | None = None) -> int:
    """Run one command and return its exit code. Wrong words end in argparse's own exit 2."""
    debug = False
    try:
        with heard_or_not():
            arguments = build_parser().parse_args(words)
            debug = arguments.debug
            return int(arguments.run(arguments))
    except (Exception, KeyboardInterrupt) as trouble:
        code = exit_code_of(trouble)
        if code is None or debug:
            raise
        _say(in_words(trouble))
        return code


def _say(trouble: str) -> None:
    with heard_or_not():
        print(f"keyplumb: {trouble}", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
