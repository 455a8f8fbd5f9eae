"""`keyplumb info`: what is in a recording, without measuring it, or in a calibration record."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from keyplumb.commands.record_talk import record_lines
from keyplumb.exit_codes import DONE

if TYPE_CHECKING:
    from recordings.reader import RecordingFile

NAME = "info"
SUMMARY = "Say what is in a recording: who, when, which rig, which keys, what was lost on the cable."
EXAMPLE = "keyplumb info fern.h5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("file", type=Path, metavar="FILE", help="a recording (.h5), or a calibration record (.json)")
    parser.add_argument("--json", action="store_true", help="as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Read and print."""
    from recordings.reader import open_recording

    if arguments.file.suffix == ".json":
        return _tell_record(arguments.file, as_json=arguments.json)
    with open_recording(arguments.file) as opened:
        told, record = _view(opened), opened.header.calibration.record
    if arguments.json:
        print(json.dumps(told, indent=1))
        return DONE
    run_, rig = told["run"], told["rig"]
    print(f"{run_['instrument']}, recorded {run_['started_at']}, {run_['programme']}")
    if run_["serial"] is not None:
        print(f"serial number: {run_['serial']}")
    print(f"complete: {'yes' if told['complete'] else 'no, it was interrupted'}")
    print(f"rig: {rig['model'] or 'not told'} {rig['serial_number'] or ''}".rstrip())
    print(f"calibration: {told['calibration_status']['sentence']}")
    for line in record_lines(record) if record else ():
        print(f"  {line}")
    print(f"force scale, as stated: {told['calibration']['force']['reference']}")
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


def _tell_record(path: Path, *, as_json: bool) -> int:
    from recordings.calibration_file import read_calibration, record_as_dict

    record = read_calibration(path)
    if as_json:
        print(json.dumps(record_as_dict(record), indent=1))
    else:
        print("\n".join(record_lines(record)))
    return DONE


def _damage_in_words(told: dict[str, Any]) -> str:
    amounts: dict[str, int] = {}
    for key in told["keys"]:
        for damage in key["damage"]:
            amounts[damage["kind"]] = amounts.get(damage["kind"], 0) + damage["amount"]
    return ", ".join(f"{amount} {kind.replace('_', ' ')}" for kind, amount in sorted(amounts.items())) or "none"


def _view(opened: RecordingFile) -> dict[str, Any]:
    from processing.calibration_status import calibration_view
    from recordings.calibration_file import record_as_dict

    header, record = opened.header, opened.header.calibration.record
    return {
        "schema": "keyplumb.info/1",
        "complete": opened.complete,
        "run": {**asdict(header.run), "started_at": header.run.started_at.isoformat()},
        "rig": asdict(header.rig),
        "calibration": {**asdict(header.calibration), "record": record_as_dict(record) if record else None},
        "calibration_status": calibration_view(header),
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
