"""`keyplumb inspect --learn`: limits proposed from good units, and what is said of them."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import chosen_calibration
from keyplumb.exit_codes import DONE
from keyplumb.labels import demand_different

if TYPE_CHECKING:
    from processing.display import Units
    from processing.keyboard import KeyboardResult
    from processing.limits.learned import Learned
    from recordings.types import Header


def learn(arguments: argparse.Namespace) -> int:
    """Measure all good units, write the limits that they propose, say what these rest on."""
    _demand_sense(arguments)
    from processing.display import parse_units
    from processing.limits.learn import learn_limits
    from processing.limits.learned_file import write_learned

    units = parse_units(arguments.units)
    results = _measured(arguments)
    learned = learn_limits(results, _labels(results, arguments.learn))
    write_learned(arguments.out, learned, units)
    _tell(learned, units)
    print(arguments.out)
    return DONE


def _demand_sense(arguments: argparse.Namespace) -> None:
    """Refuse before anything is measured what could not be done afterwards. Raises FileIsThere, NoSuchFolder."""
    from processing.errors import FileIsThere
    from recordings.errors import NoSuchFolder

    beside = (
        arguments.recordings or None,
        arguments.store,
        arguments.limits,
        arguments.csv,
        arguments.junit,
        arguments.pdf,
        arguments.port,
        arguments.cluster,
    )
    if arguments.json or any(one is not None for one in beside):
        arguments.wrong_use("--learn proposes limits and judges nothing: give good units, --out, and no more")
    if arguments.out is None:
        arguments.wrong_use("where are the limits to be written? keyplumb inspect --learn A.h5 B.h5 --out L.toml")
    if arguments.out.exists():
        raise FileIsThere(arguments.out, "choose another name")
    if not arguments.out.absolute().parent.is_dir():
        raise NoSuchFolder(arguments.out.parent)


def _measured(arguments: argparse.Namespace) -> list[KeyboardResult]:
    """Return the results of all units, without what is not needed of them. Raises SameRecording."""
    from processing.whole_recording import analyse_file
    from recordings.reader import open_recording

    record = chosen_calibration(arguments)
    headers: list[Header] = []
    results = []
    for place, path in enumerate(arguments.learn, 1):
        with open_recording(path) as opened:
            headers.append(opened.header)
            demand_different(headers, [str(one) for one in arguments.learn[:place]])
            results.append(_slim(analyse_file(opened, record=record, workers=arguments.workers)))
    return results


def _slim(result: KeyboardResult) -> KeyboardResult:
    """Return a result without the curves of single strokes: those of a hundred units would fill the memory."""
    return replace(result, keys=tuple(replace(key, stroke_curves=()) for key in result.keys))


def _labels(results: list[KeyboardResult], paths: list[Path]) -> list[str]:
    """Return what the units are called: by serial number, else by file, else by file and place in the list."""
    serials = [result.header.run.serial or "" for result in results]
    for names in (serials, [path.stem for path in paths]):
        if all(names) and len(set(names)) == len(names):
            return names
    return [f"{path.stem} ({place})" for place, path in enumerate(paths, 1)]


def _tell(learned: Learned, units: Units) -> None:
    from processing.limits.learned_words import learned_sentences, proposal_sentences

    for sentence in learned_sentences(learned):
        print(sentence)
    for proposal in learned.proposals:
        for sentence in proposal_sentences(proposal, units):
            print(f"  {sentence}")
