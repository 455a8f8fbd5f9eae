"""What one of many recordings is judged to be, small enough to be sent from where it was judged; and into the store.

How it works: whoever inspects a unit only reads; units are added to the store by the one who gathers them, so that a
worker that dies, or is asked twice, leaves nothing double.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from keyplumb.many.measuring import Asked
from processing.errors import EdgeExpected, NoContactPoint
from processing.keyboard import KeyboardResult
from processing.limits.judge import judge
from processing.limits.types import Limits
from processing.limits.verdict import UnitVerdict
from processing.stages import KeyResult
from processing.unit_store import add_unit
from recordings.reader import open_recording


@dataclass(frozen=True, slots=True)
class Inspected:
    """One unit."""

    verdict: UnitVerdict
    result: KeyboardResult
    """Numbers, flags and findings, without curves and budgets: those are nine tenths of what would have to be sent."""
    recording_sha256: str


def inspected(file: Path, *, asked: Asked, limits: Limits) -> Inspected:
    """Return what the limits make of a recording. Raises RecordingError, EdgeExpected."""
    with open_recording(file) as opened, as_expected(limits):
        result = asked.measured(opened)
    verdict = judge(result, limits)
    return Inspected(verdict, numbers_alone(result), sha256_of(file))


@contextmanager
def as_expected(limits: Limits) -> Iterator[None]:
    """Blame the limits file, in this block, for what it asks and a recording has not. Raises EdgeExpected."""
    try:
        yield
    except NoContactPoint as fault:
        raise EdgeExpected(limits.file_name) from fault


def sha256_of(file: Path) -> str:
    """Return what a recording is known by in the store. Raises OSError."""
    with file.open("rb") as whole:
        return hashlib.file_digest(whole, "sha256").hexdigest()


def add_to_store(store: Path, unit: Inspected) -> None:
    """Add a unit, its numbers and its verdict, to a store of units. Raises as `add_unit`."""
    run, verdict = unit.result.header.run, unit.verdict
    reasons = [(reason.code, reason.key.name if reason.key else None) for reason in verdict.reasons()]
    add_unit(
        store,
        unit.result,
        model=run.instrument,
        serial=run.serial,
        outcome=verdict.outcome,
        reasons=reasons,
        recording_sha256=unit.recording_sha256,
    )


def numbers_alone(result: KeyboardResult) -> KeyboardResult:
    """Return results whose keys have numbers and findings, and nothing that tells where these come from."""
    keys = {key.key: _bare(key) for key in result.keys}
    odd = tuple(replace(one, result=keys[one.result.key]) for one in result.odd_keys)
    return replace(result, keys=tuple(keys.values()), odd_keys=odd)


def _bare(key: KeyResult) -> KeyResult:
    bare = tuple(replace(measurement, budget=None) for measurement in key.measurements)
    return replace(key, measurements=bare, curve=None, stroke_curves=(), dynamics=None)
