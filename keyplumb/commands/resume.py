"""`keyplumb resume`: goes on with an interrupted survey where it stood, by motor or by hand, as it was begun."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from keyplumb.commands.arguments import CAUTIONS, add_midi

NAME = "resume"
SUMMARY = "Go on with an interrupted survey where it stood: keys that were done stay as they are."
EXAMPLE = "keyplumb resume fern.h5 --port /dev/ttyACM0"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("recording", type=Path, metavar="REC.h5", help="the recording that was to be written")
    parser.add_argument("--port", required=True, help="the rig's port now")
    parser.add_argument("--profile", metavar="NAME", help="if the rig only prints lines: its profile, as before")
    add_midi(parser)


def run(arguments: argparse.Namespace) -> int:
    """Go on, and say what was recorded."""
    from daq.survey import Where, interrupted_by_hand, resume_survey
    from keyplumb.commands.press import profile_of
    from keyplumb.commands.survey_talk import hand_talk, motor_talk, print_result, stop_on_signals

    recording = arguments.recording
    if recording.suffix == ".partial":  # the folder is meant, so its recording is
        recording = recording.with_suffix("")
    by_hand = interrupted_by_hand(recording)
    if not by_hand:
        print(CAUTIONS, file=sys.stderr)
    stop_on_signals()
    where = Where(
        port_path=arguments.port,
        out=recording,
        profile=profile_of(arguments.profile),
        midi=arguments.midi,
    )
    if by_hand:
        with hand_talk() as talk:
            return print_result(resume_survey(where, talk))
    with motor_talk() as talk:
        return print_result(resume_survey(where, talk))
