"""`keyplumb gauge plan|record|study`: a crossed study from its plan to its verdict; each returns the exit code."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from keyplumb.commands.arguments import CAUTIONS, chosen_calibration
from keyplumb.exit_codes import DONE, INTERRUPTED
from keyplumb.gauging import printing
from keyplumb.gauging.plan import StudyPlan, draw_plan, read_plan, write_plan
from keyplumb.gauging.printing import CODES, print_json
from keyplumb.gauging.tolerances import limited, tolerance_in
from processing.display import Units, parse_units
from processing.errors import MalformedStudy, StudyUnfit
from processing.gauge.crossed import study_of
from processing.gauge.readings import Reading, crossed_of
from processing.gauge.verdict import GaugeVerdict, Tolerance, judge_study, not_judged
from processing.limits.types import Limits
from processing.measurand_units import UNIT_OF
from processing.settings import Settings

if TYPE_CHECKING:
    from keyplumb.gauging.gathering import LeftOut
    from recordings.calibration_record import CalibrationRecord

USUAL = ("key_dip", "down_weight", "up_weight", "friction", "letoff_peak_force")
"""Measurands of a study if nobody names any: what most limits are about."""


def plan_study(arguments: argparse.Namespace) -> int:
    """Draw a plan into its folder."""
    from daq.programme import load_programme

    load_programme(arguments.programme)
    programme = arguments.programme
    if programme.endswith(".toml"):
        programme = str(Path(programme).absolute())
    plan = draw_plan(
        arguments.keys,
        arguments.operators,
        arguments.trials,
        seed=arguments.seed,
        programme=programme,
        instrument=arguments.instrument,
    )
    path = write_plan(arguments.folder, plan)
    turns = len(arguments.operators) * arguments.trials
    print(
        f"{path}: {len(plan.press)} presses in {turns} turns; next: keyplumb gauge record {arguments.folder} --port ..."
    )
    return DONE


def record(arguments: argparse.Namespace) -> int:
    """Guide the operators through what is not recorded yet."""
    from keyplumb.calibrating.guide import Guide
    from keyplumb.commands.press import profile_of
    from keyplumb.commands.survey_talk import stop_on_signals
    from keyplumb.gauging.recording import Bench, record_study

    plan = read_plan(arguments.folder)
    profile = profile_of(arguments.profile)
    bench = Bench(port=arguments.port, by_hand=arguments.by_hand or profile is not None, profile=profile)
    if not bench.by_hand:
        print(CAUTIONS, file=sys.stderr)
    stop_on_signals()
    try:
        record_study(plan, bench, Guide())
    except KeyboardInterrupt:  # q or Ctrl-C: how a study goes on is said below
        return INTERRUPTED
    finally:
        left = "" if plan.next() is None else "; the same command goes on"
        print(f"{arguments.folder}: {len(plan.done())} of {len(plan.presses)} presses are recorded{left}")
    return DONE


def analyse_study(arguments: argparse.Namespace) -> int:
    """Analyse a crossed study, of a folder or a table, and judge the rig."""
    from processing.gauge.picture import demand_place, draw_studies
    from processing.gauge.verdict import among_all, worst_of
    from processing.gauge.view import study_view
    from processing.limits.reading import read_limits

    if arguments.picture is not None:
        demand_place(arguments.picture)
    held = HeldAgainst(None if arguments.limits is None else read_limits(arguments.limits), dict(arguments.tolerance))
    units = parse_units(arguments.units)
    if arguments.source.is_dir():
        plan = read_plan(arguments.source)
        names = arguments.measurands or held.measurands() or USUAL
        verdicts, units = _of_folder(plan, names, held, chosen_calibration(arguments), units)
        about, model = _about(plan), plan.told.instrument
    else:
        verdicts, about, model = _of_table(arguments.source, held), {"source": arguments.source.name}, None
    if held.model is not None and model is None:
        print(f"keyplumb: the limits are for {held.model}; nothing says that the study is of it", file=sys.stderr)
    verdicts = among_all(verdicts)
    if units.force_mark:
        print(f"keyplumb: forces are {units.force_mark}: a spread is told, a bias would not show", file=sys.stderr)
    if arguments.picture is not None:
        draw_studies(verdicts, arguments.picture, units, _title(arguments.source))
    if arguments.json:
        print_json(study_view(verdicts, about=about))
    else:
        printing.print_study(verdicts, units)
    return CODES[worst_of(verdicts)]


def _title(source: Path) -> str:
    return f"Gauge study, {'folder' if source.is_dir() else 'table'} {source.absolute().name}"


@dataclass(frozen=True, slots=True)
class HeldAgainst:
    """The limits and tolerances that the rig must be fit for."""

    limits: Limits | None
    tolerances: Mapping[str, Tolerance]
    """As typed; they go before those of the limits file."""

    def measurands(self) -> tuple[str, ...]:
        """Return what there are limits for."""
        return tuple(dict.fromkeys((*self.tolerances, *(limited(self.limits) if self.limits else ()))))

    def of(self, name: str, readings: Sequence[Reading]) -> Tolerance | None:
        """Return the room that a measurand has, None if nothing is said of it."""
        if name in self.tolerances or self.limits is None:
            return self.tolerances.get(name)
        return tolerance_in(self.limits, name, readings)

    @property
    def model(self) -> str | None:
        """The model that the limits are for; None: any, or there are no limits."""
        return None if self.limits is None else self.limits.expected.instrument

    def settings(self) -> Settings:
        """Return the settings of the analysis that the limits are meant for."""
        return self.limits.expected.settings() if self.limits else Settings()


def _about(plan: StudyPlan) -> dict[str, Any]:
    return {
        "source": plan.folder.absolute().name,
        "seed": plan.told.seed,
        "programme": plan.told.programme,
        "instrument": plan.told.instrument,
        "presses": len(plan.presses),
        "recorded": len(plan.done()),
    }


def _of_folder(
    plan: StudyPlan, names: Sequence[str], held: HeldAgainst, record: CalibrationRecord | None, units: Units
) -> tuple[list[GaugeVerdict], Units]:
    """Return the verdicts, and the reader's units with the mark of the first recording that needs one."""
    from keyplumb.gauging.gathering import measured_presses, readings_of
    from processing.calibration_status import marked

    if None not in (held.model, plan.told.instrument) and held.model != plan.told.instrument:
        other = f"the limits are for {held.model}, the study is of {plan.told.instrument}"
        return [not_judged(name, UNIT_OF[name], other) for name in names], units
    if plan.next() is not None:
        missing = f"{len(plan.done())} of {len(plan.presses)} presses are recorded; go on with `keyplumb gauge record`"
        return [not_judged(name, UNIT_OF[name], missing) for name in names], units
    presses = measured_presses(plan, record, held.settings())
    verdicts = []
    for name in names:
        unit, readings, left_out = readings_of(name, presses)
        verdicts.append(_judged(name, unit, readings, held, left_out))
    each = (marked(units, press.header) for press in presses)
    return verdicts, next((one for one in each if one.force_mark), units)


def _of_table(path: Path, held: HeldAgainst) -> list[GaugeVerdict]:
    from processing.gauge.tables import read_crossed

    told = read_crossed(path)
    unknown = [name for name in held.tolerances if name not in told]
    if unknown:
        known = ", ".join(told)
        raise MalformedStudy(str(path), f"it has no {unknown[0]}", f"give a tolerance for {known}")
    return [_judged(name, unit, readings, held, ()) for name, (unit, readings) in told.items()]


def _judged(name: str, unit: str, readings: Sequence[Reading], held: HeldAgainst, left_out: LeftOut) -> GaugeVerdict:
    if left_out and not readings:
        part, why = left_out[0]
        return not_judged(name, unit, f"no key has it ({part}: {why})", left_out=left_out)
    try:
        study = study_of(crossed_of(readings))
    except StudyUnfit as fault:
        return not_judged(name, unit, str(fault), left_out=left_out)
    return judge_study(name, unit, study, held.of(name, readings), left_out=left_out)
