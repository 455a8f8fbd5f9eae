"""`keyplumb demo-line`: a simulated line from its first unit to what its charts say, then held against the truth."""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import a_count, add_units, understood_by
from keyplumb.commands.trend_talk import Again
from keyplumb.exit_codes import DONE, FAILED

if TYPE_CHECKING:
    from keyplumb.line.work import Places
    from processing.display import Units
    from processing.trend.line import Line as Charted

NAME = "demo-line"
SUMMARY = "Make a simulated line of units, inspect all, chart them, and hold what was found against what was planted."
EXAMPLE = "keyplumb demo-line --out demo-line"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument(
        "--line", default="moss", metavar="NAME", help="a built-in line or a TOML file like it (default moss)"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("demo-line"), metavar="FOLDER", help="where to write (default demo-line)"
    )
    parser.add_argument(
        "--workers", type=understood_by(a_count), metavar="N", help="processes (default: one for each processor)"
    )
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Record, learn, inspect, chart, compare. Exit 1 if something planted was missed, or something invented."""
    from keyplumb.commands.demo_line_talk import Timed, tell_line
    from keyplumb.line import work
    from keyplumb.line.truth_check import check_line
    from processing.display import parse_units
    from processing.unit_store.schema import demand_libraries
    from rig.virtual.line_of_units import load_line

    demand_libraries()
    units, line, places = parse_units(arguments.units), load_line(arguments.line), work.Places(arguments.out)
    work.demand_enough(line, arguments.line)
    _forget_last_demo(places)
    timed = Timed()
    timed("recorded", f"recording {line.units} units", lambda: work.record_line(line, places, arguments.workers))
    timed("limits learned", "learning limits", lambda: work.learn(line, places, arguments.workers, units))
    verdicts = timed("inspected", "inspecting", lambda: work.inspect(line, places, arguments.workers))
    charted = timed("charted", "charting", lambda: work.chart(line, places))
    again = Again(
        store=str(places.store), out=str(places.trend), units=arguments.units, model=line.scenario,
        baseline=line.reference_units, limits=str(places.limits),
    )  # fmt: skip
    pages = timed("drawn", "drawing", lambda: _draw(charted, places, units, again))
    check = check_line(places.truths, charted, verdicts)
    tell_line(line, charted, check, timed, units)
    print("\nWritten")
    for path in (places.units, places.limits, places.store, *pages, places.truths):
        print(f"  {path}")
    return DONE if check.right else FAILED


def _draw(charted: Charted, places: Places, units: Units, again: Again) -> list[Path]:
    """Write the page of the charts."""
    from processing.control.pareto import pareto
    from processing.limits.reading import read_limits
    from processing.trend.capable import capable
    from processing.trend.page import Told, write_trend
    from processing.unit_store import UnitStore

    limits = read_limits(places.limits)
    reasons = UnitStore(places.store).reasons(charted.units.model)
    rows = pareto(zip(reasons["measuring_id"], reasons["reason"], strict=True))
    told = Told(charted, capable(charted, limits), rows, limits.name, again.made_by())
    return write_trend(told, places.trend, units)[:2]


def _forget_last_demo(places: Places) -> None:
    """Remove what an earlier demo wrote. Raises FileIsThere if what lies there is not of a demo."""
    from processing.errors import FileIsThere

    if places.folder.is_dir() and any(places.folder.iterdir()) and not places.truths.is_file():
        raise FileIsThere(places.folder, "it is of no earlier demo; choose another folder with --out")
    for folder in (places.units, places.store, places.trend):
        shutil.rmtree(folder, ignore_errors=True)
    for file in (places.limits, places.truths):
        file.unlink(missing_ok=True)
    places.units.mkdir(parents=True)
    places.truths.touch()  # a demo that is cut short is a demo's still
