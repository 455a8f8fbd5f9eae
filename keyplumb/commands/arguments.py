"""Words that several commands understand in the same way."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from keyplumb import __version__
from recordings.errors import RecordingError
from recordings.keys import Key, parse_keys

if TYPE_CHECKING:
    from processing.settings import Settings
    from recordings.calibration_record import CalibrationRecord
    from recordings.types import RunInfo

T = TypeVar("T")

CAUTIONS = """\
The motor will move. Keep hands, hair and sleeves away from plunger and
carriage: they can crush. An emergency stop wired into the motor's supply must
be within reach; Ctrl-C and the limits in software are no safety function.
Follow your local rules. Instruments on mains are opened by licensed people
only; lead weights are toxic."""
"""Said wherever a command first enables the motor."""


def understood_by(parse: Callable[[str], T]) -> Callable[[str], T]:
    """Return a parser for argparse that turns our errors into wrong use (exit 2) with our own words."""

    def parsed(text: str) -> T:
        try:
            return parse(text)
        except (RecordingError, ValueError) as fault:
            raise argparse.ArgumentTypeError(str(fault)) from fault

    return parsed


one_key = understood_by(Key.from_name)
some_keys = understood_by(parse_keys)


def add_recording(parser: argparse.ArgumentParser) -> None:
    """Add the recording to be read."""
    parser.add_argument("recording", type=Path, metavar="REC.h5", help="a recording made by `survey` or `import`")


def add_recordings(parser: argparse.ArgumentParser) -> None:
    """Add the recordings to be read, one or more."""
    parser.add_argument(
        "recordings", type=Path, nargs="+", metavar="REC.h5", help="recordings made by `survey`, `press` or `import`"
    )


def a_count(text: str) -> int:
    """Return a number of processes. Raises ValueError."""
    count = int(text)
    if count < 1:
        raise ValueError("at least one process must do the work")
    return count


def add_hands(parser: argparse.ArgumentParser) -> argparse._ArgumentGroup:
    """Add who does the work on many files; returns the group of words, for what else is about many."""
    many = parser.add_argument_group("many files")
    hands = many.add_mutually_exclusive_group()
    hands.add_argument(
        "--workers",
        type=understood_by(a_count),
        metavar="N",
        help="processes (default: as many as there are processors)",
    )
    hands.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="a dask.distributed scheduler, as tcp://host:8786, instead of processes here",
    )
    return many


def add_checks(parser: argparse._ActionsContainer) -> None:
    """Add the recordings of check keys."""
    parser.add_argument(
        "--checks",
        type=Path,
        nargs="+",
        metavar="AGAIN.h5",
        help="recordings of some keys again, before, between, after: drift over the sitting is taken out",
    )


def add_calibration(parser: argparse.ArgumentParser) -> None:
    """Add a calibration record in place of the one in the recording."""
    parser.add_argument(
        "--calibration",
        type=Path,
        metavar="FILE",
        help="a calibration record in place of the recording's own: all numbers come anew from the raw counts",
    )


def add_front_edge(parser: argparse.ArgumentParser) -> None:
    """Add the wish for numbers at the front edge."""
    parser.add_argument(
        "--front-edge",
        action="store_true",
        help="force and travel at the key's front edge, by the lever in the record (default: at the plunger)",
    )


def chosen_settings(arguments: argparse.Namespace) -> Settings:
    """Return the settings that `add_front_edge` has asked for."""
    from processing.settings import Settings

    return Settings(stated_at="front edge" if arguments.front_edge else "plunger")


def chosen_calibration(arguments: argparse.Namespace) -> CalibrationRecord | None:
    """Return the record that `add_calibration` has asked for, None if none. Raises RecordingError."""
    from recordings.calibration_file import read_calibration

    return None if arguments.calibration is None else read_calibration(arguments.calibration)


def add_units(parser: argparse.ArgumentParser) -> None:
    """Add the reader's units."""
    parser.add_argument(
        "--units",
        default="gf,mm",
        choices=("gf,mm", "N,mm", "gf,in"),
        metavar="UNITS",
        help="units for people: gf,mm (default) or N,mm or gf,in",
    )


def add_port_and_out(parser: argparse.ArgumentParser) -> None:
    """Add the rig's port and the recording to be written."""
    parser.add_argument(
        "--port", required=True, help="the rig's port: /dev/tty..., COM3, socket://host:port, PORT@BAUD"
    )
    parser.add_argument("--out", type=Path, required=True, metavar="REC.h5", help="the recording to be written")


Words = argparse.ArgumentParser | argparse._ArgumentGroup
"""What words can be added to; argparse has no public name for its groups."""


def add_midi(parser: Words) -> None:
    """Add a MIDI port of this computer."""
    parser.add_argument("--midi", metavar="NAME", help="listen to this MIDI port of the computer; tcp://host:port")


def _celsius(text: str) -> float:
    celsius = float(text)
    if not -30.0 <= celsius <= 60.0:
        raise ValueError("a room is between -30 and 60 degrees Celsius; leave it out if it was not measured")
    return celsius


def add_about(parser: argparse.ArgumentParser) -> None:
    """Add what a recording should know of itself."""
    about = parser.add_argument_group("about the recording")
    about.add_argument("--instrument", help="the keyboard's name, or its model (default: that of REC.h5)")
    about.add_argument("--serial", help="the unit's own serial number")
    about.add_argument("--operator", help="who records")
    about.add_argument("--celsius", type=understood_by(_celsius), help="temperature of the room")


def about_the_run(arguments: argparse.Namespace, programme: str) -> RunInfo:
    """Return what `add_about` has asked for, with the time and our version."""
    from recordings.types import RunInfo

    return RunInfo(
        instrument=arguments.instrument or arguments.out.stem,
        started_at=datetime.now(UTC),
        software_version=__version__,
        programme=programme,
        serial=arguments.serial,
        operator=arguments.operator,
        room_celsius=arguments.celsius,
    )
