"""What is done with a simulated line, step by step: recorded, limits learned, inspected into a store, charted.

How it works: every step but the charts is done for many files by `keyplumb/many`, as the commands do it. Nothing here
knows what was planted; `record_line` only writes it down for later.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from keyplumb.line.recorded_units import record_unit, unit_file
from keyplumb.many.inspecting import add_to_store, inspected
from keyplumb.many.measuring import Asked
from keyplumb.many.outcomes import Failed
from keyplumb.many.over_files import over_files
from keyplumb.many.progress import Watched
from processing.control.settings import ControlSettings
from processing.display import Units
from processing.keyboard import COLOURS, KeyboardResult
from processing.limits.learn import learn_limits
from processing.limits.learned_file import write_learned
from processing.limits.reading import read_limits
from processing.limits.verdict import UnitVerdict
from processing.settings import Settings
from processing.statistics.settings import StatisticsSettings
from processing.trend.line import Line as Charted
from processing.trend.line import watch_line
from processing.unit_store import UnitStore
from recordings.errors import MalformedRecording
from recordings.keys import Key
from recordings.reader import open_recording
from rig.errors import MalformedScenario
from rig.virtual.line_of_units import Line, serial_of

T = TypeVar("T")

SCHEMA = "keyplumb.line-truths/1"


@dataclass(frozen=True, slots=True)
class Places:
    """Where everything of a simulated line lies."""

    folder: Path

    @property
    def units(self) -> Path:
        """The recordings."""
        return self.folder / "units"

    @property
    def store(self) -> Path:
        """The store of units."""
        return self.folder / "store"

    @property
    def limits(self) -> Path:
        """The limits that were learned."""
        return self.folder / "limits.toml"

    @property
    def truths(self) -> Path:
        """What the model knows."""
        return self.folder / "truths.json"

    @property
    def trend(self) -> Path:
        """The charts."""
        return self.folder / "trend"


def demand_enough(line: Line, name: str) -> None:
    """Raise MalformedScenario if limits could not be learned, or charts not be drawn, from the line of that name."""
    fewest, keys = ControlSettings().fewest, StatisticsSettings().fewest_keys
    if line.reference_units < fewest:
        why = f"reference_units = {line.reference_units}: charts freeze their limits from {fewest} at least"
        raise MalformedScenario(f"{name}: {why}; write {fewest} or more")
    if line.units <= line.reference_units:
        why = f"units = {line.units}, and the first {line.reference_units} of them are the reference"
        raise MalformedScenario(f"{name}: {why}: none is left to chart; write more units than reference_units")
    counts = [sum(Key(number).colour == colour for number in line.keys) for colour in COLOURS]
    if max(counts) < keys:
        why = " and ".join(f"{count} {colour}s" for count, colour in zip(counts, COLOURS, strict=True))
        raise MalformedScenario(f"{name}: keys: {why} teach no limits; name {keys} keys of one colour at least")


def files_of(line: Line, places: Places) -> list[Path]:
    """Return the recordings of all units, in the order in which they are made."""
    return [unit_file(places.units, line, unit) for unit in range(1, line.units + 1)]


def record_line(line: Line, places: Places, workers: int | None) -> None:
    """Record every unit, and write down what is true of it and what was planted. Raises as `record_unit`."""
    files = files_of(line, places)
    truths = list(_each(partial(record_unit, line=line), files, workers))
    told: dict[str, Any] = {
        "schema": SCHEMA,
        "line": line.model_dump(),
        "units": {serial_of(line, unit): keys for unit, keys in enumerate(truths, 1)},
    }
    places.truths.write_text(json.dumps(told), encoding="utf-8")


def learn(line: Line, places: Places, workers: int | None, units: Units) -> None:
    """Write the limits that the reference units propose. Raises CannotLearn, FileIsThere."""
    files = files_of(line, places)[: line.reference_units]
    results = list(_each(measured, files, workers))
    write_learned(places.limits, learn_limits(results, [file.stem for file in files]), units)


def measured(file: Path) -> KeyboardResult:
    """Return the results of a unit, without the curves of its single strokes."""
    with open_recording(file) as opened:
        result = Asked(Settings()).measured(opened)
    return replace(result, keys=tuple(replace(key, stroke_curves=()) for key in result.keys))


def inspect(line: Line, places: Places, workers: int | None) -> list[UnitVerdict]:
    """Judge every unit by the learned limits and add it to the store; the verdicts, in the order of the units."""
    limits = read_limits(places.limits)
    work = partial(inspected, asked=Asked(limits.expected.settings()), limits=limits)
    verdicts = []
    for unit in _each(work, files_of(line, places), workers):
        add_to_store(places.store, unit)
        verdicts.append(unit.verdict)
    return verdicts


def chart(line: Line, places: Places) -> Charted:
    """Return the charts of the store, their limits frozen from the reference units. Raises TooFewUnits."""
    return watch_line(UnitStore(places.store), line.scenario, baseline=line.reference_units)


def _each(work: Callable[[Path], T], files: Sequence[Path], workers: int | None) -> Iterator[T]:
    """Yield the result of each file. Raises MalformedRecording at the first that fails: a line is whole or nothing."""
    watched = Watched(len(files), bar=True)
    outcomes: Iterable[Any] = over_files(work, files, workers=workers)
    for outcome in watched.results(outcomes):
        if isinstance(outcome, Failed):
            raise MalformedRecording(str(outcome.file), outcome.reason)
        yield outcome.result
