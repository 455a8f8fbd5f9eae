"""What `keyplumb inspect` does with many units: each as it comes, then a table of what does not pass, worst first."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, TextIO

from keyplumb.commands.arguments import chosen_calibration
from keyplumb.exit_codes import BAD_INPUT, CANNOT_TELL, DONE, FAILED

if TYPE_CHECKING:
    from pathlib import Path

    from keyplumb.many.inspecting import Inspected
    from processing.display import Units
    from processing.limits.conformity import Outcome
    from processing.limits.types import Limits
    from processing.limits.verdict import UnitVerdict

NARROWEST = 100
"""Columns of text that the table takes even on a narrower screen."""


def inspect_many(arguments: argparse.Namespace) -> int:
    """Inspect units as they come. Exit 3 if a file failed, else 1 if a unit fails, else 6 if one cannot be told."""
    if arguments.pdf or arguments.junit:
        arguments.wrong_use("--pdf and --junit are about one unit: give one recording")
    from keyplumb.many.inspecting import inspected
    from keyplumb.many.measuring import Asked, failure_line
    from keyplumb.many.outcomes import Failed
    from keyplumb.many.over_files import over_files
    from keyplumb.many.progress import Watched
    from processing.display import parse_units
    from processing.limits.reading import read_limits

    limits, units = read_limits(arguments.limits), parse_units(arguments.units)
    asked = Asked(limits.expected.settings(), record=chosen_calibration(arguments))
    work = partial(inspected, asked=asked, limits=limits)
    outcomes = over_files(work, arguments.recordings, workers=arguments.workers, cluster=arguments.cluster)
    watched = Watched(len(arguments.recordings), bar=not (arguments.json and sys.stdout.isatty()))
    gathered = Gathered()
    with _csv_file(arguments.csv) as csv:
        for outcome in watched.results(outcomes):
            if isinstance(outcome, Failed):
                _print_json(arguments, failure_line(outcome))
                continue
            _keep(arguments, csv, outcome.result)
            _print_json(arguments, _line(outcome.file, outcome.result.verdict, limits))
            gathered.add(outcome.result.verdict, units)
    if gathered.nameless:
        told = f"{gathered.nameless} of {len(arguments.recordings)} recordings tell no serial number"
        print(f"keyplumb: {told}: nobody can say which units these are; record with --serial", file=sys.stderr)
    if not arguments.json:
        gathered.tell()
    watched.tell_failures()
    return BAD_INPUT if watched.failed else gathered.exit_code


def _print_json(arguments: argparse.Namespace, line: str) -> None:
    if arguments.json:
        print(line, flush=True)


def _line(file: Path, verdict: UnitVerdict, limits: Limits) -> str:
    from processing.limits.view import inspect_view

    return json.dumps({"file": str(file), **inspect_view(verdict, limits)}, allow_nan=False)


@contextmanager
def _csv_file(path: Path | None) -> Iterator[TextIO | None]:
    """Open the table of all decisions, which is there whole or not at all."""
    from recordings.safe_files import whole_or_nothing

    if path is None:
        yield None
        return
    with ExitStack() as stack:
        temporary = stack.enter_context(whole_or_nothing(path))
        yield stack.enter_context(temporary.open("w", encoding="utf-8", newline=""))


def _keep(arguments: argparse.Namespace, csv: TextIO | None, unit: Inspected) -> None:
    """Put a unit where it was asked for."""
    if csv is not None:
        from processing.limits.view import decision_table

        decision_table(unit.verdict).to_csv(csv, index=False, header=csv.tell() == 0, lineterminator="\n")
    if arguments.store is not None:
        from keyplumb.many.inspecting import add_to_store

        add_to_store(arguments.store, unit)


@dataclass(frozen=True, slots=True)
class UnitRow:
    """What the table says of a unit."""

    name: str
    outcome: Outcome
    failing: int
    """Keys that fail."""
    open: int
    """Keys that cannot be told."""
    reason: str


class Gathered:
    """What is kept of the units: counts, and a row for each that does not pass."""

    def __init__(self) -> None:
        self.counts: Counter[Outcome] = Counter()
        self.rows: list[UnitRow] = []
        self.nameless = 0

    def add(self, verdict: UnitVerdict, units: Units) -> None:
        """Add a unit."""
        from processing.calibration_status import marked
        from processing.limits.sentences import reason_in_words, unit_name

        self.counts[verdict.outcome] += 1
        self.nameless += verdict.header.run.serial is None
        if reasons := verdict.reasons():
            of_keys = Counter(key.outcome for key in verdict.keys)
            words = reason_in_words(reasons[0], marked(units, verdict.header))
            more = f"; and {len(reasons) - 1} more" if len(reasons) > 1 else ""
            name = unit_name(verdict.header.run)
            self.rows.append(UnitRow(name, verdict.outcome, of_keys["fail"], of_keys["cannot tell"], words + more))

    @property
    def worst_first(self) -> list[UnitRow]:
        """Failing units before those that cannot be told, many bad keys before few."""
        order = ("fail", "cannot tell", "pass")
        return sorted(self.rows, key=lambda row: (order.index(row.outcome), -row.failing, -row.open, row.name))

    @property
    def exit_code(self) -> int:
        """The worst verdict."""
        return FAILED if self.counts["fail"] else CANNOT_TELL if self.counts["cannot tell"] else DONE

    def tell(self) -> None:
        """Print the table and the counts."""
        from rich import box
        from rich.console import Console
        from rich.markup import escape
        from rich.table import Table

        console = Console(highlight=False)
        if self.rows:
            table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
            for head in ("unit", "verdict", "keys fail", "cannot tell", "first reason"):
                table.add_column(head, justify="right" if head in ("keys fail", "cannot tell") else "left")
            for row in self.worst_first:
                numbers = (str(number) if number else "" for number in (row.failing, row.open))
                table.add_row(row.name, row.outcome, *numbers, escape(row.reason))
            Console(width=max(console.width, NARROWEST), highlight=False).print(table)
        total = sum(self.counts.values())
        told = (f"{self.counts[outcome]} {words}" for outcome, words in WORDS if self.counts[outcome])
        print(f"{total} unit{'' if total == 1 else 's'}: {', '.join(told)}")


WORDS: tuple[tuple[Outcome, str], ...] = (("pass", "pass"), ("fail", "fail"), ("cannot tell", "cannot be told"))
