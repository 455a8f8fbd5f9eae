"""What `keyplumb gauge` does, one function a second word: reads, analyses, prints, and returns the exit code."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from keyplumb.commands.arguments import CAUTIONS, chosen_calibration
from keyplumb.exit_codes import CANNOT_TELL, DONE, FAILED
from keyplumb.gauging import printing
from keyplumb.gauging.plan import StudyPlan, draw_plan, read_plan, write_plan
from processing.display import parse_units
from processing.errors import MalformedStudy, StudyUnfit
from processing.gauge.crossed import study_of
from processing.gauge.readings import Reading, crossed_of
from processing.gauge.verdict import GaugeVerdict, Tolerance, judge_study, not_judged, worst_of
from processing.gauge.view import SCHEMA

USUAL = ("key_dip", "down_weight", "up_weight", "friction", "letoff_peak_force")
"""Measurands of a study if nobody names any: what most limits are about."""
CODES = {"fit": DONE, "fit with caution": DONE, "unfit": FAILED, "cannot tell": CANNOT_TELL}


def plan_study(arguments: argparse.Namespace) -> int:
    """Draw a plan into its folder."""
    from daq.programme import load_programme

    load_programme(arguments.programme)
    programme = arguments.programme
    if programme.endswith(".toml"):
        programme = str(Path(programme).absolute())
    plan = draw_plan(arguments.keys, arguments.operators, arguments.trials, seed=arguments.seed, programme=programme)
    path = write_plan(arguments.folder, plan)
    turns = len(arguments.operators) * arguments.trials
    print(
        f"{path}: {len(plan.press)} presses in {turns} turns; next: keyplumb gauge record {arguments.folder} --port ..."
    )
    return DONE


def record(arguments: argparse.Namespace) -> int:
    """Guide the operators through what is not recorded yet."""
    from keyplumb.calibrating.guide import Guide
    from keyplumb.commands.survey_talk import stop_on_signals
    from keyplumb.gauging.recording import record_study

    plan = read_plan(arguments.folder)
    print(CAUTIONS, file=sys.stderr)
    stop_on_signals()
    recorded = record_study(plan, arguments.port, Guide())
    print(f"{arguments.folder}: {recorded} presses recorded, {len(plan.done())} of {len(plan.presses)} are there")
    return DONE


def analyse_study(arguments: argparse.Namespace) -> int:
    """Analyse a crossed study, of a folder or a table, and judge the rig."""
    from processing.gauge.picture import demand_ending, draw_studies
    from processing.gauge.view import study_view

    if arguments.picture is not None:
        demand_ending(arguments.picture)
    units = parse_units(arguments.units)
    if arguments.source.is_dir():
        plan = read_plan(arguments.source)
        verdicts, about = _of_folder(plan, arguments), _about(plan)
    else:
        verdicts, about = _of_table(arguments), {"source": arguments.source.name}
    if arguments.picture is not None:
        draw_studies(verdicts, arguments.picture, units, f"Gauge study {arguments.source.absolute().stem}")
    if arguments.json:
        _print_json(study_view(verdicts, about=about))
    else:
        printing.print_study(verdicts, units)
    return CODES[worst_of(verdicts)]


def _about(plan: StudyPlan) -> dict[str, Any]:
    return {
        "source": plan.folder.absolute().name,
        "seed": plan.told.seed,
        "programme": plan.told.programme,
        "presses": len(plan.presses),
        "recorded": len(plan.done()),
    }


def _of_folder(plan: StudyPlan, arguments: argparse.Namespace) -> list[GaugeVerdict]:
    from keyplumb.gauging.gathering import measured_presses, readings_of

    given = dict(arguments.tolerance)
    names: Sequence[str] = arguments.measurands or tuple(given) or USUAL
    if plan.next() is not None:
        missing = f"{len(plan.done())} of {len(plan.presses)} presses are recorded; go on with `keyplumb gauge record`"
        return [not_judged(name, "", missing) for name in names]
    presses = measured_presses(plan, chosen_calibration(arguments))
    verdicts = []
    for name in names:
        unit, readings, left_out = readings_of(name, presses)
        verdicts.append(_judged(name, unit, readings, given.get(name), left_out))
    return verdicts


def _of_table(arguments: argparse.Namespace) -> list[GaugeVerdict]:
    from processing.gauge.tables import read_crossed

    told, given = read_crossed(arguments.source), dict(arguments.tolerance)
    unknown = [name for name in given if name not in told]
    if unknown:
        known = ", ".join(told)
        raise MalformedStudy(str(arguments.source), f"it has no {unknown[0]}", f"give a tolerance for {known}")
    return [_judged(name, unit, readings, given.get(name), ()) for name, (unit, readings) in told.items()]


def _judged(
    name: str, unit: str, readings: Sequence[Reading], tolerance: Tolerance | None, left_out: Any
) -> GaugeVerdict:
    try:
        study = study_of(crossed_of(readings))
    except StudyUnfit as fault:
        return not_judged(name, unit, str(fault), left_out=left_out)
    return judge_study(name, unit, study, tolerance, left_out=left_out)


def analyse_bias(arguments: argparse.Namespace) -> int:
    """Tell bias and linearity of readings of references."""
    from processing.gauge.bias_linearity import bias_of
    from processing.gauge.picture import demand_ending, draw_bias
    from processing.gauge.tables import read_against
    from processing.gauge.verdict import judge_bias
    from processing.gauge.view import bias_view
    from processing.gauge.words import bias_sentences

    if arguments.picture is not None:
        demand_ending(arguments.picture)
    unit, readings = read_against(arguments.source)
    allowed, told_in = arguments.allowed or (None, unit)
    if told_in != unit:
        raise MalformedStudy(str(arguments.source), f"it is in {unit}, --allowed in {told_in}", "tell both alike")
    try:
        study = bias_of(readings)
    except StudyUnfit as fault:
        return _cannot_tell("bias", str(fault), as_json=arguments.json)
    verdict = judge_bias(study, allowed)
    units = parse_units(arguments.units)
    if arguments.picture is not None:
        draw_bias(study, arguments.picture, unit, units, f"Bias: {arguments.source.stem}")
    if arguments.json:
        _print_json(bias_view(study, unit, verdict))
    else:
        printing.print_bias(study, unit, units)
        printing.print_sentences(verdict, bias_sentences(study, unit, units))
    return CODES[verdict]


def analyse_stability(arguments: argparse.Namespace) -> int:
    """Hold the last day of a check standard against its baseline."""
    from keyplumb.gauging.gathering import days_of_folder
    from processing.gauge.picture import demand_ending, draw_stability
    from processing.gauge.stability import stability_of
    from processing.gauge.tables import read_days
    from processing.gauge.view import stability_view
    from processing.gauge.words import stability_sentences

    if arguments.picture is not None:
        demand_ending(arguments.picture)
    name = arguments.measurand
    if arguments.source.is_dir():
        record = chosen_calibration(arguments)
        unit, days, left_out = days_of_folder(arguments.source, arguments.key, name, record)
        for line in left_out:
            print(f"keyplumb: {line}; left out", file=sys.stderr)
    else:
        unit, days = read_days(arguments.source)
    try:
        found = stability_of(days)
    except StudyUnfit as fault:
        return _cannot_tell("stability", str(fault), as_json=arguments.json)
    units = parse_units(arguments.units)
    verdict = "fit" if found.days[-1].ruled == "in control" else "unfit"
    if arguments.picture is not None:
        draw_stability(found, arguments.picture, unit, units, f"Check standard {arguments.source.absolute().stem}")
    if arguments.json:
        _print_json(stability_view(found, name, unit, verdict))
    else:
        printing.print_sentences(verdict, stability_sentences(found, unit, units))
    return CODES[verdict]


def analyse_rigs(arguments: argparse.Namespace) -> int:
    """Hold several rigs against each other."""
    from processing.gauge.interlaboratory import interlaboratory_of
    from processing.gauge.tables import read_crossed
    from processing.gauge.view import rigs_view
    from processing.gauge.words import rig_sentences

    units, views = parse_units(arguments.units), []
    for name, (unit, readings) in read_crossed(arguments.source).items():
        found = interlaboratory_of(crossed_of(readings, least_parts=1))
        verdict = "unfit" if found.inconsistent() else "fit"
        views.append(rigs_view(found, name, unit, verdict))
        if not arguments.json:
            printing.print_rigs(found, name, unit, units)
            printing.print_sentences(verdict, rig_sentences(found, unit, units))
    worst = "unfit" if any(view["verdict"] == "unfit" for view in views) else "fit"
    if arguments.json:
        _print_json({"schema": SCHEMA, "kind": "rigs", "verdict": worst, "measurands": views})
    return CODES[worst]


def _cannot_tell(kind: str, why: str, *, as_json: bool) -> int:
    if as_json:
        _print_json({"schema": SCHEMA, "kind": kind, "verdict": "cannot tell", "why_not": why})
    else:
        print(f"Cannot tell: {why}.")
    return CANNOT_TELL


def _print_json(told: Mapping[str, Any]) -> None:
    print(json.dumps(told, indent=1, allow_nan=False))
