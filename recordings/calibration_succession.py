"""A new calibration record in place of the newest one of its rig: what is new, and what is taken over.

How it works: a calibration finds one part; the other parts come from the record before, as long as that is valid. The
new record is good no longer than what it took over: the earlier of both dates. Of a record that has expired nothing is
taken over. The record before is named as superseded either way; its file stays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from recordings.calibration_file import content_id
from recordings.calibration_record import PARTS, CalibrationRecord, Environment

TAKEN_OVER = (*PARTS, "contact_point")


@dataclass(frozen=True, slots=True)
class Succession:
    """The new record, and what is to be told about what it took over."""

    record: CalibrationRecord
    told: str


def succeed(new: CalibrationRecord, before: CalibrationRecord | None) -> Succession:
    """Return the new record with the other parts of the one before. new: with its own part only.

    Raises ValueError if both are not of one rig.
    """
    if before is None:
        return Succession(new, "the first record of this rig")
    if before.rig != new.rig:
        raise ValueError(f"record of {before.rig} cannot come before one of {new.rig}")
    named = replace(new, supersedes=content_id(before))
    taken = [part for part in TAKEN_OVER if getattr(new, part) is None and getattr(before, part) is not None]
    if not taken:
        return Succession(named, f"in place of the record of {before.made_at:%Y-%m-%d}; nothing to take over")
    words = " and ".join(part.replace("_", " ") for part in taken)
    if before.valid_until < new.made_at:
        return Succession(
            named,
            f"the record of {before.made_at:%Y-%m-%d} has expired on {before.valid_until:%Y-%m-%d}: its {words} "
            "not taken over, calibrate them again",
        )
    parts: dict[str, Any] = {part: getattr(before, part) for part in taken}
    valid_until = min(named.valid_until, before.valid_until)
    both = replace(named, **parts, environment=_environment(new, before), valid_until=valid_until)
    shortened = (
        f", and with them its last day, {valid_until:%Y-%m-%d}" if valid_until.date() < new.valid_until.date() else ""
    )
    return Succession(both, f"{words} taken over from the record of {before.made_at:%Y-%m-%d}{shortened}")


def _environment(new: CalibrationRecord, before: CalibrationRecord) -> Environment | None:
    """Return the temperature of the calibration and the coefficients; the temperature is that of the force.

    A coefficient of the displacement is given up where it was found at another temperature than the force.
    """
    fresh, old = new.environment, before.environment
    if old is None:
        return fresh
    if new.force is not None:
        same = fresh is not None and fresh.celsius == old.celsius and new.displacement is None
        return _with_displacement(fresh, old) if fresh is not None and same else fresh
    if new.displacement is None:
        return old
    same = fresh is not None and fresh.celsius == old.celsius
    return _with_displacement(old, fresh if same else None)


def _with_displacement(environment: Environment, of: Environment | None) -> Environment:
    return replace(
        environment,
        displacement_per_kelvin=of.displacement_per_kelvin if of else None,
        u_displacement_per_kelvin=of.u_displacement_per_kelvin if of else None,
    )
