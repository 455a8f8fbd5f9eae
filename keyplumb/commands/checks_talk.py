"""Recordings of check keys: which keyboard each belongs to, and what they tell of drift."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import chosen_calibration, chosen_settings
from keyplumb.labels import demand_different

if TYPE_CHECKING:
    from processing.keyboard import KeyboardResult


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """A keyboard as it would have been measured in the middle of its sitting, as far as checks tell."""

    result: KeyboardResult
    said: tuple[str, ...] = ()
    """What was told of drift; empty without checks."""
    checks: tuple[Path, ...] = ()


def without_drift(
    arguments: argparse.Namespace, results: Sequence[KeyboardResult], labels: Sequence[str]
) -> list[Settled]:
    """Return the keyboards without the drift that the recordings of `--checks` tell of; say what it was on stderr.

    Raises ForeignChecks if one belongs to none of the keyboards, SameRecording if it is one of them or given twice,
    RecordingError if it cannot be read.
    """
    from processing.display import parse_units
    from processing.errors import ForeignChecks
    from processing.sitting import settled
    from processing.sitting_words import sitting_sentences
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    checks_of: list[list[tuple[Path, KeyboardResult]]] = [[] for _ in results]
    headers = [result.header for result in results]
    places = [str(path) for path in (*arguments.recordings, *(arguments.checks or ()))]
    for path in arguments.checks or ():
        with open_recording(path) as opened:
            headers.append(opened.header)
            demand_different(headers, places[: len(headers)])
            check = analyse_file(opened, chosen_settings(arguments), record=chosen_calibration(arguments))
        own = [place for place, result in enumerate(results) if _keyboard(result) == _keyboard(check)]
        if not own:
            known = [_keyboard(result) for result in results]
            of, *among = _told_by_serial([_keyboard(check), *dict.fromkeys(known)])
            raise ForeignChecks(str(path), f"it is of {of}, which is not among the keyboards: {', '.join(among)}")
        checks_of[min(own, key=partial(_seconds_between, results, check))].append((path, check))
    found = []
    for result, label, checks in zip(results, labels, checks_of, strict=True):
        if not checks:
            found.append(Settled(result))
            continue
        sitting = settled(result, [(str(path), check) for path, check in checks])
        said = sitting_sentences(sitting, label, parse_units(arguments.units))
        for sentence in said:
            print(f"keyplumb: {sentence}", file=sys.stderr)
        found.append(Settled(sitting.result, tuple(said), tuple(path for path, _ in checks)))
    return found


def _seconds_between(results: Sequence[KeyboardResult], check: KeyboardResult, place: int) -> float:
    """Return how long before or after a check a keyboard was recorded: one recorded twice has two sittings."""
    return abs((results[place].header.run.started_at - check.header.run.started_at).total_seconds())


def _keyboard(result: KeyboardResult) -> tuple[str, str | None]:
    return result.header.run.instrument, result.header.run.serial


def _told_by_serial(keyboards: Sequence[tuple[str, str | None]]) -> list[str]:
    """Return what some keyboards are called: with serial numbers as soon as one of them has any."""
    if not any(serial for _, serial in keyboards):
        return [instrument for instrument, _ in keyboards]
    return [
        f"{instrument} (serial number {serial})" if serial else f"{instrument} (no serial number)"
        for instrument, serial in keyboards
    ]
