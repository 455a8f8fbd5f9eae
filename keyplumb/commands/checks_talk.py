"""Recordings of check keys at the command line: measured, dealt out to their keyboards, and what they tell of drift."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Container, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import chosen_calibration, chosen_settings
from keyplumb.labels import demand_different

if TYPE_CHECKING:
    from processing.dealt_checks import Settled
    from processing.display import Units
    from processing.keyboard import KeyboardResult
    from recordings.keys import Key
    from recordings.reader import RecordingFile


def without_drift(
    arguments: argparse.Namespace,
    results: Sequence[KeyboardResult],
    labels: Sequence[str],
    units: Units,
    keys: Container[Key] | None = None,
) -> list[Settled]:
    """Return the keyboards without the drift that the recordings of `--checks` tell of; say what it was on stderr.

    With checks the results hold all keys, see `keys_to_measure`; what is returned holds those asked for.

    Raises ForeignChecks if one belongs to none of the keyboards, SameRecording if it is one of them or given twice,
    RecordingError if it cannot be read.
    """
    from processing.dealt_checks import Check, settle_by_checks
    from processing.keyboard import with_keys_only
    from processing.sitting_words import drift_sentences
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    checks = []
    headers = [result.header for result in results]
    places = [str(path) for path in (*arguments.recordings, *(arguments.checks or ()))]
    for path in arguments.checks or ():
        with open_recording(path) as opened:
            headers.append(opened.header)
            demand_different(headers, places[: len(headers)])
            check = analyse_file(opened, chosen_settings(arguments), record=chosen_calibration(arguments))
        checks.append(Check(str(path), check))
    found = settle_by_checks(results, checks)
    for settled, label in zip(found, labels, strict=True):
        for sentence in drift_sentences(settled.sitting, label, units):
            print(f"keyplumb: {sentence}", file=sys.stderr)
        if checks and settled.sitting is None:
            print(f"keyplumb: {label}: no checks of it were given, so its drift stays in its numbers", file=sys.stderr)
    if not checks or keys is None:
        return found
    return [replace(settled, result=with_keys_only(settled.result, keys)) for settled in found]


def keys_to_measure(
    opened: RecordingFile, keys: Container[Key] | None, checks: Sequence[Path] | None
) -> tuple[Key, ...]:
    """Return the keys asked for, or with check keys all: the sitting that they tell of is that of all keys.

    Raises MalformedRecording if the recording holds none of the keys asked for.
    """
    asked_for = opened.held_of(keys)
    return opened.keys if checks else asked_for
