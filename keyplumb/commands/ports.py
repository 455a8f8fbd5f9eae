"""`keyplumb ports`: which serial ports there are, and which of them answer as a rig."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict

from keyplumb.exit_codes import DONE

NAME = "ports"
SUMMARY = "List the serial ports and say which answer as a rig; nothing is moved."
EXAMPLE = "keyplumb ports /dev/pts/4 socket://127.0.0.1:4000"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument(
        "ports", nargs="*", metavar="PORT", help="ask these (pseudo-terminals and URLs are not listed by themselves)"
    )
    parser.add_argument("--json", action="store_true", help="as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Greet every port and print what it says."""
    from daq.port_list import ask_port, listed_ports

    answers = [ask_port(path) for path in arguments.ports or listed_ports()]
    if arguments.json:
        print(json.dumps({"schema": "keyplumb.ports/1", "ports": [asdict(answer) for answer in answers]}, indent=1))
        return DONE
    for answer in answers:
        print(f"{answer.path}: {f'a rig, {answer.rig}' if answer.rig else answer.why_not}")
    if not answers:
        print("no serial port; is the rig plugged in?")
    return DONE
