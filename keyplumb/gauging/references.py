"""`keyplumb gauge bias|stability|days|rigs`: a rig against references, itself and others; each returns exit codes."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import chosen_calibration
from keyplumb.exit_codes import DONE
from keyplumb.gauging import printing
from keyplumb.gauging.printing import CODES, cannot_tell, print_json, too_little
from processing.display import parse_units
from processing.errors import MalformedStudy, StudyUnfit
from processing.gauge.readings import crossed_of
from processing.gauge.tables import NO_UNIT
from processing.gauge.view import SCHEMA

if TYPE_CHECKING:
    from keyplumb.gauging.gathering import Watched

IN_WORDS = {"N": ("forces", "0.5gf"), "mm": ("lengths", "0.02mm")}
"""What a table holds, whichever of their units it was written in, and how a width of it is told."""


def analyse_bias(arguments: argparse.Namespace) -> int:
    """Tell bias and linearity of readings of references."""
    from processing.gauge.bias_linearity import bias_of
    from processing.gauge.picture import demand_place, draw_bias
    from processing.gauge.tables import read_against
    from processing.gauge.verdict import judge_bias
    from processing.gauge.view import bias_view
    from processing.gauge.words import bias_sentences

    if arguments.picture is not None:
        demand_place(arguments.picture)
    unit, readings = read_against(arguments.source)
    allowed, told_in = arguments.allowed or (None, unit)
    if told_in != unit:
        raise MalformedStudy(str(arguments.source), *_other_unit(unit, told_in))
    try:
        study = bias_of(readings)
    except StudyUnfit as fault:
        return cannot_tell("bias", str(fault), as_json=arguments.json)
    verdict = judge_bias(study, allowed)
    units = parse_units(arguments.units)
    if arguments.picture is not None:
        draw_bias(study, arguments.picture, unit, units, f"Bias: {arguments.source.stem}")
    if arguments.json:
        print_json(bias_view(study, unit, verdict, allowed))
    else:
        printing.print_bias(study, unit, units)
        printing.print_sentences(verdict, bias_sentences(study, unit, units, allowed))
    return CODES[verdict]


def _other_unit(unit: str, told_in: str) -> tuple[str, str]:
    """Return what is wrong with an --allowed in another unit than the table's, and what to do."""
    holds, example = IN_WORDS.get(unit, (f"readings in {unit}", f"0.5{unit}"))
    if told_in == NO_UNIT:
        return f"it holds {holds}, --allowed has no unit", f"say it, as in --allowed {example}"
    if unit == NO_UNIT:
        return f"it names no unit, --allowed is in {told_in}", "give the table a column `unit`, or --allowed none"
    return f"it holds {holds}, --allowed is in {told_in}", "tell both alike"


def _watched(arguments: argparse.Namespace) -> Watched:
    from keyplumb.gauging.gathering import days_of_folder, days_of_store, is_store

    source, key, name = arguments.source, arguments.key, arguments.measurand
    if not is_store(source):
        return days_of_folder(source, key, name, chosen_calibration(arguments))
    if arguments.serial is None:
        raise MalformedStudy(str(source), "it is a store of many units", "name the kept one with --serial")
    return days_of_store(source, arguments.serial, key, name)


def analyse_stability(arguments: argparse.Namespace) -> int:
    """Hold the last day of a check standard against its baseline."""
    from processing.calibration_status import MARK_OF
    from processing.gauge.picture import demand_place, draw_stability
    from processing.gauge.stability import stability_of
    from processing.gauge.tables import read_days
    from processing.gauge.view import stability_view
    from processing.gauge.words import stability_sentences

    if arguments.picture is not None:
        demand_place(arguments.picture)
    name = arguments.measurand
    units = parse_units(arguments.units)
    if arguments.source.is_dir():
        watched = _watched(arguments)
        unit, days = watched.unit, watched.days
        units = replace(units, force_mark=MARK_OF[watched.status])
        for line in watched.left_out:
            print(f"keyplumb: {line}; left out", file=sys.stderr)
    else:
        unit, days = read_days(arguments.source)
    try:
        found = stability_of(days)
    except StudyUnfit as fault:
        return cannot_tell("stability", str(fault), as_json=arguments.json)
    verdict = "fit" if found.days[-1].ruled == "in control" else "unfit"
    if arguments.picture is not None:
        draw_stability(found, arguments.picture, unit, units, f"Check standard {arguments.source.absolute().stem}")
    if arguments.json:
        print_json(stability_view(found, name, unit, verdict))
    else:
        printing.print_sentences(verdict, stability_sentences(found, unit, units))
    return CODES[verdict]


def analyse_rigs(arguments: argparse.Namespace) -> int:
    """Hold several rigs against each other."""
    from processing.gauge.interlaboratory import interlaboratory_of
    from processing.gauge.tables import OF_RIGS, read_crossed
    from processing.gauge.verdict import ORDER
    from processing.gauge.view import rigs_view
    from processing.gauge.words import rig_sentences

    units, views = parse_units(arguments.units), []
    for name, (unit, readings) in read_crossed(arguments.source, OF_RIGS).items():
        try:
            found = interlaboratory_of(crossed_of(readings, least_parts=1, called=("key", "rig")))
        except StudyUnfit as fault:
            views.append(too_little("rigs", str(fault), measurand=name, unit=unit))
            if not arguments.json:
                print(f"\n{name}: cannot tell: {fault}.")
            continue
        verdict = "unfit" if found.inconsistent() else "fit"
        views.append(rigs_view(found, name, unit, verdict))
        if not arguments.json:
            printing.print_rigs(found, name, unit, units)
            printing.print_sentences(verdict, rig_sentences(found, unit, units))
    worst = max((view["verdict"] for view in views), key=ORDER.index)
    if arguments.json:
        print_json({"schema": SCHEMA, "kind": "rigs", "verdict": worst, "measurands": views})
    return CODES[worst]


def analyse_days(arguments: argparse.Namespace) -> int:
    """Tell what readings of kept keys differ by within a day, from day to day and from run to run."""
    from processing.gauge.nested import nested_of
    from processing.gauge.tables import read_nested
    from processing.gauge.view import nested_view
    from processing.gauge.words import nested_sentences

    units = parse_units(arguments.units)
    unit, days = read_nested(arguments.source)
    try:
        found = nested_of(days)
    except StudyUnfit as fault:
        return cannot_tell("days", str(fault), as_json=arguments.json)
    if arguments.json:
        print_json(nested_view(found, unit))
    else:
        for sentence in nested_sentences(found, unit, units):
            print(sentence)
    return DONE
