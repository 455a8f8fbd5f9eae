"""The course of a calibration, on one page: meet the rig, read, look for mistakes, fit, keep, report.

How it works: readings are written first, whatever happens afterwards; the record is written last, and only if nothing
looks like a mistake. What is fitted is always what stands in the readings, so `--from` gives the same record again.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from daq.recorder import Recorder
from daq.sitting import RigSitting
from keyplumb import __version__
from keyplumb.calibrating.force_bench import ForceBench
from keyplumb.calibrating.guide import HOW_TO_ANSWER, Guide
from keyplumb.calibrating.head import given_by, head_of, identity_of, references_of, rig_info_of
from keyplumb.calibrating.keeping import Kept, free_path, keep_readings, keep_record, new_record, stem_of
from keyplumb.calibrating.press_bench import PressBench
from keyplumb.calibrating.report import Number, faults_as_list, lines_of, numbers_as_dict, numbers_of
from keyplumb.commands.arguments import CAUTIONS
from keyplumb.commands.survey_talk import stop_on_signals
from keyplumb.exit_codes import DONE, FAILED
from processing.calibration.block_list import BlockList
from processing.calibration.derive import (
    Derived,
    DerivedForce,
    Fault,
    derive,
    displacement_faults,
    force_faults,
)
from processing.calibration.errors import CalibrationError, TooFewReadings
from processing.calibration.load_plan import plan_stacks, plan_steps
from processing.calibration.masses import MassList
from recordings.calibration_file import record_as_dict
from recordings.calibration_folder import choose_calibration
from recordings.calibration_readings import CalibrationReadings, read_readings
from recordings.calibration_record import CalibrationRecord, ContactPoint
from recordings.safe_files import whole_or_nothing

SCHEMA = "keyplumb.calibrate/1"
LOAD_CAUTIONS = """\
Reference masses are handled with gloves or tweezers; lead weights are toxic to
touch: wash your hands. Nothing heavy may fall on feet or cell. Follow your local
rules; numbers do not replace a qualified person's sign-off."""
USED_SHARE = 0.9
"""Of the cell's range: the pan and a later zero need the rest."""


def calibrate_from_bench(arguments: argparse.Namespace) -> int:
    """Guide the person through all readings, and make a record of them."""
    stop_on_signals()
    guide, references = Guide(), references_of(arguments)
    with RigSitting(arguments.port, Recorder()) as sitting:
        by_motor = arguments.what != "force" and sitting.rig.has_motor
        guide.tell(CAUTIONS if by_motor else LOAD_CAUTIONS)
        guide.tell(HOW_TO_ANSWER)
        bench = _bench(arguments, sitting, guide, references)
        try:
            bench.run()
            sitting.session.stop_stream()
        except BaseException:  # Ctrl-C included: the rig must stop, and what was read is not lost
            sitting.stop()
            if bench.readings.loads or bench.readings.presses:
                guide.tell(f"stopped; what was read is in {keep_readings(arguments.folder, bench.readings)}")
            raise
    return _conclude(arguments, bench.readings, keep_readings(arguments.folder, bench.readings))


def calibrate_from_file(arguments: argparse.Namespace) -> int:
    """Make a record of earlier readings, with what has become known since: newer certificates, gravity, the room."""
    readings = read_readings(arguments.readings)
    head = readings.head
    if head.kind != arguments.what:
        raise TooFewReadings(f"{arguments.readings} holds readings of {head.kind}, not of {arguments.what}")
    given = given_by(arguments)
    newest = choose_calibration(arguments.folder, rig_info_of(head.rig), datetime.now(UTC)).record
    head = replace(head, **given, stated=replace(head.stated, record=newest))
    return _conclude(arguments, replace(readings, head=head), arguments.readings)


def calibrate_contact(arguments: argparse.Namespace) -> int:
    """Keep where the plunger meets the key."""
    behind, lever = arguments.behind_front, arguments.lever
    part = ContactPoint(
        behind_front_mm=behind.value,
        u_behind_front_mm=behind.u,
        lever_mm=None if lever is None else lever.value,
        u_lever_mm=None if lever is None else lever.u,
    )
    with RigSitting(arguments.port, Recorder()) as sitting:
        rig = identity_of(sitting)
    now = datetime.now(UTC)
    new = CalibrationRecord(
        rig=rig,
        made_at=now,
        valid_until=now + timedelta(days=arguments.valid_days),
        software_version=__version__,
        operator=arguments.operator,
        contact_point=part,
    )
    numbers = [Number("behind_front", behind.value, "mm", "from the front edge to the plunger", behind.u)]
    if lever is not None:
        numbers.append(Number("lever", lever.value, "mm", "from the front edge to the balance rail", lever.u))
    kept = keep_record(arguments.folder, new, "contact")
    return _say(arguments, numbers=tuple(numbers), faults=(), readings=None, plot=None, kept=kept)


def _bench(
    arguments: argparse.Namespace, sitting: RigSitting, guide: Guide, references: MassList | BlockList | None
) -> ForceBench | PressBench:
    """Return who takes the readings, with the rig streaming and, if it has a motor to use, homed."""
    empty = CalibrationReadings(head=head_of(arguments, sitting))
    if isinstance(references, MassList):
        most_newton = USED_SHARE * sitting.rig.force_range_newton
        plan = plan_steps(plan_stacks(references, most_newton), arguments.cycles)
        sitting.session.start_stream()
        return ForceBench(sitting, guide, references, plan, empty)
    bench = PressBench(sitting, guide, references.block if references is not None else (), empty)
    bench.prepare()
    return bench


def _conclude(arguments: argparse.Namespace, readings: CalibrationReadings, path: Path) -> int:
    """Look for mistakes, fit, and keep the record if there are none. Raises CalibrationError if nothing fits."""
    faults = _faults(readings)
    try:
        derived = derive(readings)
    except CalibrationError:
        if not faults:
            raise
        return _say(arguments, numbers=(), faults=faults, readings=path, plot=None, kept=None)
    faults = derived.faults
    plot = _plot(arguments.folder, derived, readings) if isinstance(derived, DerivedForce) else None
    kept = None if faults else _keep(arguments, derived, readings, path)
    return _say(arguments, numbers=numbers_of(derived), faults=faults, readings=path, plot=plot, kept=kept)


def _faults(readings: CalibrationReadings) -> tuple[Fault, ...]:
    """Return the mistakes that show before anything can be fitted."""
    if readings.head.kind == "force":
        return force_faults(readings)
    return displacement_faults(readings) if readings.head.kind == "displacement" else ()


def _plot(folder: Path, derived: DerivedForce, readings: CalibrationReadings) -> Path:
    from processing.calibration.residual_plot import plot_residuals

    head = readings.head
    path = free_path(folder, stem_of(head.rig, head.made_at, head.kind), ".png")
    title = f"{head.rig.model} {head.rig.serial_number}, force, {head.made_at:%Y-%m-%d}"
    folder.mkdir(parents=True, exist_ok=True)
    with whole_or_nothing(path) as temporary:
        plot_residuals(derived.calibration, temporary, title)
    return path


def _keep(arguments: argparse.Namespace, derived: Derived, readings: CalibrationReadings, path: Path) -> Kept:
    now = datetime.now(UTC)
    if readings.head.made_at + timedelta(days=arguments.valid_days) <= now:
        raise TooFewReadings(
            f"these readings are of {readings.head.made_at:%Y-%m-%d}: a record of them would have expired after"
            f" {arguments.valid_days:g} days; calibrate anew, or give --valid-days with a reason of your own"
        )
    note = f"{readings.head.kind} from {path.name}"
    new = new_record(
        readings, derived.part, made_at=now, valid_days=arguments.valid_days, version=__version__, note=note
    )
    return keep_record(arguments.folder, new, readings.head.kind)


def _say(
    arguments: argparse.Namespace,
    *,
    numbers: tuple[Number, ...],
    faults: tuple[Fault, ...],
    readings: Path | None,
    plot: Path | None,
    kept: Kept | None,
) -> int:
    """Print the result, for people or as JSON, and return the exit code: a mistake that remains is a fail."""
    verdict = "fail" if faults else "done"
    if arguments.json:
        view = {
            "schema": SCHEMA,
            "kind": arguments.what,
            "verdict": verdict,
            "faults": faults_as_list(faults),
            "numbers": numbers_as_dict(numbers),
            "readings": None if readings is None else str(readings),
            "plot": None if plot is None else str(plot),
            "file": None if kept is None else str(kept.path),
            "record": None if kept is None else record_as_dict(kept.record),
            "taken_over": None if kept is None else kept.told,
        }
        print(json.dumps(view, indent=1, allow_nan=False))
        return FAILED if faults else DONE
    print("\n".join([f"{arguments.what}: {verdict}", *lines_of(numbers)]))
    for fault in faults:
        print(f"mistake: {fault.words}; {fault.advice}")
    for what, where in (("readings", readings), ("picture", plot)):
        if where is not None:
            print(f"{what}: {where}")
    if kept is None:
        print("no record was written: something above is to be put right first")
    else:
        print(f"record: {kept.path}, valid until {kept.record.valid_until:%Y-%m-%d}\n  {kept.told}")
    return FAILED if faults else DONE
