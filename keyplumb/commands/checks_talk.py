"""Recordings of check keys: which keyboard each belongs to, and what they tell of drift."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import chosen_calibration, chosen_settings

if TYPE_CHECKING:
    from processing.keyboard import KeyboardResult


def without_drift(
    arguments: argparse.Namespace, results: Sequence[KeyboardResult], labels: Sequence[str]
) -> list[KeyboardResult]:
    """Return the keyboards without the drift that the recordings of `--checks` tell of; say what it was on stderr.

    Raises ForeignChecks if one belongs to none of the keyboards, RecordingError if it cannot be read.
    """
    from processing.display import parse_units
    from processing.errors import ForeignChecks
    from processing.sitting import settled, sitting_sentences
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    checks_of: list[list[tuple[str, KeyboardResult]]] = [[] for _ in results]
    for path in arguments.checks:
        with open_recording(path) as opened:
            check = analyse_file(opened, chosen_settings(arguments), record=chosen_calibration(arguments))
        own = [place for place, result in enumerate(results) if _keyboard(result) == _keyboard(check)]
        if not own:
            raise ForeignChecks(str(path), f"it is of {check.header.run.instrument}, which is not among the keyboards")
        checks_of[min(own, key=partial(_seconds_between, results, check))].append((str(path), check))
    found = []
    for result, label, checks in zip(results, labels, checks_of, strict=True):
        sitting = settled(result, checks) if checks else None
        if sitting is not None:
            for sentence in sitting_sentences(sitting, label, parse_units(arguments.units)):
                print(f"keyplumb: {sentence}", file=sys.stderr)
        found.append(result if sitting is None else sitting.result)
    return found


def _seconds_between(results: Sequence[KeyboardResult], check: KeyboardResult, place: int) -> float:
    """Return how long before or after a check a keyboard was recorded: one recorded twice has two sittings."""
    return abs((results[place].header.run.started_at - check.header.run.started_at).total_seconds())


def _keyboard(result: KeyboardResult) -> tuple[str, str | None]:
    return result.header.run.instrument, result.header.run.serial
