"""What one of many recordings is judged to be, small enough to be sent from where it was judged."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path

from keyplumb.many.measuring import Asked
from processing.keyboard import KeyboardResult
from processing.limits.judge import judge
from processing.limits.types import Limits
from processing.limits.verdict import UnitVerdict
from processing.stages import KeyResult
from recordings.reader import open_recording


@dataclass(frozen=True, slots=True)
class Inspected:
    """One unit."""

    verdict: UnitVerdict
    result: KeyboardResult
    """Numbers, flags and findings, without curves and budgets: those are nine tenths of what would have to be sent."""
    recording_sha256: str


def inspected(file: Path, *, asked: Asked, limits: Limits) -> Inspected:
    """Return what the limits make of a recording. Raises RecordingError."""
    with open_recording(file) as opened:
        result = asked.measured(opened)
    verdict = judge(result, limits)
    with file.open("rb") as whole:
        sha256 = hashlib.file_digest(whole, "sha256").hexdigest()
    return Inspected(verdict, numbers_alone(result), sha256)


def numbers_alone(result: KeyboardResult) -> KeyboardResult:
    """Return results whose keys have numbers and findings, and nothing that tells where these come from."""
    keys = {key.key: _bare(key) for key in result.keys}
    odd = tuple(replace(one, result=keys[one.result.key]) for one in result.odd_keys)
    return replace(result, keys=tuple(keys.values()), odd_keys=odd)


def _bare(key: KeyResult) -> KeyResult:
    bare = tuple(replace(measurement, budget=None) for measurement in key.measurements)
    return replace(key, measurements=bare, curve=None, stroke_curves=(), dynamics=None)
