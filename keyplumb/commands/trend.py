"""`keyplumb trend`: what changes along a line of units, by control charts over the store of units."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import add_units, understood_by
from keyplumb.commands.trend_talk import Again, say_line
from keyplumb.exit_codes import CANNOT_TELL, DONE, FAILED

if TYPE_CHECKING:
    from processing.control.pareto import ParetoRow
    from processing.trend.capable import Capable
    from processing.trend.line import Line
    from processing.unit_store import UnitStore

NAME = "trend"
SUMMARY = "Say what changes along a line of units: control charts, kind and place of a change, capability, reasons."
EXAMPLE = "keyplumb trend units --model moss --baseline 60 --out trend"


def _baseline(text: str) -> int | str:
    if ".." in text:
        return text
    if not text.isdecimal() or int(text) < 1:
        raise ValueError(f"{text!r} is no baseline; say a number of units, or FROM..TO in serial numbers")
    return int(text)


def _measurands(text: str) -> tuple[str, ...]:
    from processing.features.table import FEATURES

    known = {feature.name for feature in FEATURES}
    asked = tuple(word.strip() for word in text.split(","))
    for word in asked:
        if word not in known:
            raise ValueError(f"{word!r} is no measurand; known are {', '.join(sorted(known))}")
    return asked


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's words."""
    parser.add_argument("store", type=Path, metavar="STORE", help="folder that `keyplumb inspect --store` fills")
    parser.add_argument("--model", help="of which units (default: the only one there is)")
    parser.add_argument(
        "--baseline", type=understood_by(_baseline), metavar="N|FROM..TO",
        help="units that freeze the limits: the first N (default 30), or those between two serial numbers",
    )  # fmt: skip
    parser.add_argument(
        "--measurand", type=understood_by(_measurands), metavar="NAME[,NAME...]",
        help="what is charted (default: weights, friction, break-away, key dip, let-off, note start)",
    )  # fmt: skip
    parser.add_argument(
        "--statistic", choices=("median", "mean"), default="median", help="of a group's keys (default median)"
    )
    parser.add_argument("--limits", type=Path, metavar="L.toml", help="also say how capable the process is for these")
    parser.add_argument("--out", type=Path, metavar="FOLDER", help="write trend.html, trend.pdf and a PNG a chart")
    parser.add_argument("--json", action="store_true", help="everything as JSON, in N, mm, mJ")
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Chart, say what has changed, write what was asked for; exit code 1 if a chart signals, 6 if units are too few."""
    from processing.errors import TooFewUnits
    from processing.limits.reading import read_limits
    from processing.trend.capable import demand_for_model
    from processing.trend.line import USUAL, watch_line
    from processing.trend.units_of_line import the_model
    from processing.unit_store import UnitStore

    if arguments.out is not None:
        from processing.trend.page import demand_places

        demand_places(arguments.out)
    limits = None if arguments.limits is None else read_limits(arguments.limits)
    store = UnitStore(arguments.store, thorough=True)
    model = the_model(store, arguments.model)
    if limits is not None:
        demand_for_model(limits, model)
    _name_strangers(store)
    try:
        line = watch_line(
            store, model, measurands=arguments.measurand or USUAL, baseline=arguments.baseline,
            statistic=arguments.statistic,
        )  # fmt: skip
    except TooFewUnits as few:
        print(f"keyplumb: {few}", file=sys.stderr)
        return CANNOT_TELL
    from processing.trend.capable import capable

    found = () if limits is None else capable(line, limits)
    _tell(arguments, line, found, _reasons(store, model), None if limits is None else limits.name)
    if not line.series:
        return CANNOT_TELL
    return DONE if line.in_control else FAILED


def _reasons(store: UnitStore, model: str) -> tuple[ParetoRow, ...]:
    """Return the reasons of all units that were not passed."""
    from processing.control.pareto import pareto

    told = store.reasons(model)
    return pareto(zip(told["measuring_id"], told["reason"], strict=True))


def _tell(
    arguments: argparse.Namespace,
    line: Line,
    capable: tuple[Capable, ...],
    reasons: tuple[ParetoRow, ...],
    limits_name: str | None,
) -> None:
    from processing.display import parse_units
    from processing.trend.view import trend_view

    shown = parse_units(arguments.units)
    if arguments.json:
        print(json.dumps(trend_view(line, capable, reasons), indent=1))
    else:
        say_line(line, capable, reasons, shown)
    if arguments.out is not None:
        from processing.trend.page import Told, write_trend

        told = Told(line, capable, reasons, limits_name, _again(arguments).made_by())
        for path in write_trend(told, arguments.out, shown):
            print(path, file=sys.stderr if arguments.json else sys.stdout)


def _again(arguments: argparse.Namespace) -> Again:
    """Return what makes the same page from the same store."""
    return Again(
        store=arguments.store.absolute().name,
        out=arguments.out.absolute().name,
        units=arguments.units,
        model=arguments.model,
        baseline=arguments.baseline,
        limits=None if arguments.limits is None else arguments.limits.name,
        statistic=arguments.statistic,
        measurands=arguments.measurand,
    )


def _name_strangers(store: UnitStore) -> None:
    for stranger in store.strangers:
        print(f"keyplumb: {stranger.path} is left out: {stranger.why}", file=sys.stderr)
