"""`keyplumb virtual-rig`: a rig with a keyboard under it, behind a pseudo-terminal or a TCP port."""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import understood_by
from keyplumb.exit_codes import DONE

if TYPE_CHECKING:
    from rig.virtual.line_rig import LineRig
    from rig.virtual.scenario import KeySpec
    from rig.virtual.virtual_rig import VirtualRig
    from rig.virtual.workbench import Workbench
    from rig.virtual.workbench_file import WorkbenchSpec

NAME = "virtual-rig"
SUMMARY = "Serve a virtual rig; prints the port to be opened, then runs until it or its starter is stopped."
EXAMPLE = "keyplumb virtual-rig --scenario moss --speed 10 --workbench tern_lane --truths moss-truths.json"
WATCHDOG_US = 250_000
WORKBENCH_NUMBER = "V-0002"
PERSON_SEED, PRESSES_A_KEY, AFTER_PRESSES_S, TIME_TO_GET_READY_S = 1, 4, 1.0, 20.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("--scenario", default="fern", metavar="NAME", help="fern, moss, or a .toml file (default fern)")
    parser.add_argument("--speed", type=understood_by(_speed), default=1.0, help="times real time (default 1)")
    parser.add_argument(
        "--tcp",
        type=understood_by(_tcp_port),
        metavar="PORT",
        help="a TCP port on this machine instead; 0 is any free one",
    )
    parser.add_argument(
        "--lines", metavar="PROFILE", help="only print lines of this profile (a built-in name or a .toml file)"
    )
    parser.add_argument("--hand", action="store_true", help="a virtual person presses, and follows the rig's lamps")
    parser.add_argument(
        "--workbench",
        metavar="NAME",
        help="reference objects beside the keyboard: tern_lane, or a .toml file; what you type lays them on",
    )
    parser.add_argument("--truths", type=Path, metavar="FILE", help="write what the model itself knows, as JSON")


def _speed(text: str) -> float:
    speed = float(text)
    if not 0.01 <= speed <= 1000.0:
        raise ValueError("a speed is between 0.01 and 1000 times real time")
    return speed


def _tcp_port(text: str) -> int:
    port = int(text)
    if not 0 <= port <= 65535:
        raise ValueError("a TCP port is between 0 and 65535; 0 is any free one")
    return port


def run(arguments: argparse.Namespace) -> int:
    """Serve until SIGTERM, Ctrl-C, or the end of the program that started us."""
    from processing.own_files import Mark, demand_own_place
    from rig.virtual.scenario import keyboard_of, load_scenario
    from rig.virtual.serve import open_wire, serve
    from rig.virtual.truth_file import write_truths
    from rig.virtual.workbench_file import load_workbench

    scenario = load_scenario(arguments.scenario)
    keys = keyboard_of(scenario)
    workbench = load_workbench(arguments.workbench) if arguments.workbench else None
    if arguments.lines:
        rig: VirtualRig | LineRig = _lines(keys, arguments.lines, workbench)
    else:
        rig = _rig(keys, arguments.speed, workbench, by_hand=arguments.hand)
    if arguments.truths is not None:
        demand_own_place(arguments.truths, Mark(b"{", b"keyplumb.truths/", "keyplumb wrote as truths"))
        write_truths(arguments.truths, scenario, keys, workbench, rig.bench.spec)
    stopped: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda number, _: stopped.append(number))
    started_by = os.getppid()
    tcp_port = arguments.tcp if arguments.tcp is not None or os.name == "posix" else 0
    with open_wire(tcp_port) as wire:
        print(wire.path, flush=True)
        print(f"virtual rig with {scenario.title}; stop with Ctrl-C", file=sys.stderr)
        serve(
            wire,
            rig,
            speed=arguments.speed,
            until=lambda: bool(stopped) or os.getppid() != started_by,
            each_turn=_operated(rig.workbench),
        )
    return DONE


def _operated(workbench: Workbench | None) -> Callable[[], None]:
    """Return what lets the operator, who types, act; without a workbench nothing is read."""
    from rig.virtual.operator import Operator

    if workbench is None:
        return lambda: None
    if os.name != "posix" or sys.stdin is None:
        print("a workbench stands beside it, but nobody can be heard here who would lay things on", file=sys.stderr)
        return lambda: None
    print("a workbench stands beside it: say pan, touch, drift, under, press or stroke, a line each", file=sys.stderr)
    return Operator(sys.stdin.fileno(), workbench.obey, lambda said: print(said, file=sys.stderr, flush=True)).attend


def _rig(keys: tuple[KeySpec, ...], speed: float, workbench: WorkbenchSpec | None, *, by_hand: bool) -> VirtualRig:
    """Return a rig that speaks the protocol, with a motor or with a person who follows its lamps."""
    from rig.virtual.cue_follower import CueFollower
    from rig.virtual.virtual_rig import RigSpec, VirtualRig

    # the watchdog guards against silence in the host's time, so a fast rig must wait longer in its own
    watchdog_us = round(WATCHDOG_US * max(1.0, speed))
    # a workbench's sensors are others than those of the plain rig, so a record of one is none of the other
    number = RigSpec().serial_number if workbench is None else WORKBENCH_NUMBER
    spec = RigSpec(watchdog_us=watchdog_us, serial_number=number)
    return VirtualRig(keys, spec, CueFollower(station=1, seed=PERSON_SEED) if by_hand else None, workbench)


def _lines(keys: tuple[KeySpec, ...], name_or_path: str, workbench: WorkbenchSpec | None) -> LineRig:
    """Return a rig that only prints lines; where there is an operator, its person waits for the operator's word."""
    from rig.profiles.profile import load_profile
    from rig.virtual.line_rig import LineRig
    from rig.virtual.person import VirtualPerson

    profile = load_profile(name_or_path)
    print(f"prints lines as profile {profile.name} says; {profile.losses_in_words()}", file=sys.stderr)
    person = VirtualPerson(station=1, seed=PERSON_SEED)
    if workbench is not None:
        return LineRig(keys, profile, person=person, workbench=workbench)
    person.rest(TIME_TO_GET_READY_S)
    for key in keys:  # it cannot hear what is wanted, so it presses once more than is usual, and treads
        person.move_to(key.number)
        for _ in range(PRESSES_A_KEY):
            person.press("good")
        person.rest(AFTER_PRESSES_S)
        person.tread()
    return LineRig(keys, profile, person=person)
