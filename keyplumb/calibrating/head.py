"""The head of readings: which rig, when, by whom, in which room, with which masses or blocks.

How it works: what the command line does not say is not there; for readings from a file it is then what the file says.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from daq.errors import RigMisbehaved
from daq.sitting import RigSitting
from keyplumb import __version__
from keyplumb.calibrating.words import Surrounded, WithU
from processing.calibration.block_list import BlockList, load_block_list
from processing.calibration.gravity import Gravity
from processing.calibration.masses import MassList, load_mass_list
from recordings.calibration_folder import choose_calibration
from recordings.calibration_readings import ReadingsHead, StatedGravity
from recordings.calibration_record import Environment, RigIdentity, Room
from recordings.types import RigInfo


def head_of(arguments: argparse.Namespace, sitting: RigSitting) -> ReadingsHead:
    """Return the head of readings that are about to be taken, with the record that is in force."""
    now, rig, scale = datetime.now(UTC), identity_of(sitting), sitting.rig.calibration.force
    chosen = choose_calibration(arguments.folder, sitting.rig.info, now)
    most = sitting.rig.force_range_newton
    low, high = sorted(scale.zero_counts + side * most * scale.counts_per_unit for side in (-1.0, 1.0))
    return ReadingsHead(
        kind=arguments.what,
        rig=rig,
        made_at=now,
        software_version=__version__,
        stated=replace(sitting.rig.calibration, record=chosen.record),
        force_range_counts=(low, high),
        **given_by(arguments),
    )


def given_by(arguments: argparse.Namespace) -> dict[str, Any]:
    """Return what the command line says for the head of readings; what it does not say is not there."""
    given: dict[str, Any] = {}
    around: Surrounded | None = arguments.environment
    if arguments.operator is not None:
        given["operator"] = arguments.operator
    if around is not None:
        given["room"] = Room(
            celsius=around.celsius, humidity_percent=around.humidity_percent, pressure_hpa=around.pressure_hpa
        )
        given["environment"] = _environment(arguments.what, around)
    gravity: Gravity | None = getattr(arguments, "gravity", None)
    if gravity is not None:
        given["gravity"] = StatedGravity(
            m_per_s2=gravity.m_per_s2, u_m_per_s2=gravity.u_m_per_s2, source=gravity.source
        )
    path: Path | None = getattr(arguments, "masses", None) or getattr(arguments, "blocks", None)
    if path is not None:
        _load(arguments.what, path)
        given["references"] = path.read_text(encoding="utf-8")
    return given


def references_of(arguments: argparse.Namespace) -> MassList | BlockList | None:
    """Return the masses or blocks that were given. Raises MalformedMassList."""
    path: Path | None = getattr(arguments, "masses", None) or getattr(arguments, "blocks", None)
    return None if path is None else _load(arguments.what, path)


def _load(kind: str, path: Path) -> MassList | BlockList:
    return load_mass_list(path) if kind == "force" else load_block_list(path)


def _environment(kind: str, around: Surrounded) -> Environment | None:
    """Return the temperature of a calibration of force or displacement, with the coefficient if it is known."""
    if around.celsius is None or kind not in ("force", "displacement"):
        return None
    known: WithU | None = around.per_kelvin
    if kind == "displacement":
        if known is None:
            return None
        return Environment(
            celsius=around.celsius, displacement_per_kelvin=known.value, u_displacement_per_kelvin=known.u
        )
    return Environment(
        celsius=around.celsius,
        force_per_kelvin=None if known is None else known.value,
        u_force_per_kelvin=None if known is None else known.u,
    )


def identity_of(sitting: RigSitting) -> RigIdentity:
    """Return which rig this is. Raises RigMisbehaved if it does not say: a record must belong to one rig."""
    model, number = sitting.rig.info.model, sitting.rig.info.serial_number
    if not model or not number:
        raise RigMisbehaved("it says no model or serial number, so that no record could belong to it")
    return RigIdentity(model=model, serial_number=number)


def rig_info_of(rig: RigIdentity) -> RigInfo:
    """Return a rig's identity as a recording knows it."""
    return RigInfo(model=rig.model, serial_number=rig.serial_number, firmware=None, sample_rate_hz=None)
