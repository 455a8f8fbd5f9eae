"""`keyplumb info`: what is in a recording, without measuring it."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from keyplumb.commands.arguments import add_recording
from keyplumb.exit_codes import DONE

if TYPE_CHECKING:
    from recordings.reader import RecordingFile

NAME = "info"
SUMMARY = "Say what is in a recording: who, when, which rig, which keys, what was lost on the cable."
EXAMPLE = "keyplumb info fern.h5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    add_recording(parser)
    parser.add_argument("--json", action="store_true", help="as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Read and print."""
    from recordings.reader import open_recording

    with open_recording(arguments.recording) as opened:
        told = _view(opened)
    if arguments.json:
        print(json.dumps(told, indent=1))
        return DONE
    run_, rig = told["run"], told["rig"]
    print(f"{run_['instrument']}, recorded {run_['started_at']}, {run_['programme']}")
    print(f"complete: {'yes' if told['complete'] else 'no, it was interrupted'}")
    print(f"rig: {rig['model'] or 'not told'} {rig['serial_number'] or ''}".rstrip())
    force = told["calibration"]["force"]
    print(f"force scale: {force['reference']}; {force['calibrated_on'] or 'uncalibrated'}")
    names = [key["key"] for key in told["keys"]]
    print(f"keys: {len(names)} ({', '.join(names[:12])}{', ...' if len(names) > 12 else ''})")
    print(f"samples: {sum(key['samples'] for key in told['keys'])}")
    aside = [f"{key['key']}: {reason}" for key in told["keys"] for reason in key["set_aside"]]
    print(f"attempts set aside: {len(aside)}")
    for line in aside:
        print(f"  {line}")
    print(f"damage on the cable: {_damage_in_words(told)}")
    print("diary:")
    for entry in told["diary"]:
        print(f"  {entry['at'][:19]}  {entry['kind']:9} {entry['text']}")
    return DONE


def _damage_in_words(told: dict[str, Any]) -> str:
    amounts: dict[str, int] = {}
    for key in told["keys"]:
        for damage in key["damage"]:
            amounts[damage["kind"]] = amounts.get(damage["kind"], 0) + damage["amount"]
    return ", ".join(f"{amount} {kind.replace('_', ' ')}" for kind, amount in sorted(amounts.items())) or "none"


def _view(opened: RecordingFile) -> dict[str, Any]:
    header = opened.header
    return {
        "schema": "keyplumb.info/1",
        "complete": opened.complete,
        "run": {**asdict(header.run), "started_at": header.run.started_at.isoformat()},
        "rig": asdict(header.rig),
        "calibration": asdict(header.calibration),
        "diary": [{**asdict(entry), "at": entry.at.isoformat()} for entry in opened.diary],
        "keys": [
            {
                "key": recording.key.name,
                "number": recording.key.number,
                "samples": len(recording.trace),
                "events": len(recording.events.tick_us),
                "marks": [mark.name for mark in recording.marks],
                "damage": [asdict(damage) for damage in recording.damage],
                "set_aside": [aside.reason for aside in recording.set_aside],
            }
            for recording in opened.read_keys()
        ],
    }
