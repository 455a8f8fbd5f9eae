"""Units of a simulated line as recordings, and what is true of them.

How it works: a unit is pressed quickly (`rig/virtual/quick_press.py`) by one and the same virtual rig, whose
calibration record is as wrong as its own uncertainties allow; counts go into a recording as those of any rig do. What
the model knows of the unit comes back apart, and nothing but the comparison at the end looks at it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from keyplumb import __version__
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    CountPolynomial,
    DisplacementCalibration,
    ForceCalibration,
    RigIdentity,
    Skew,
)
from recordings.keys import Key
from recordings.types import (
    Calibration,
    Header,
    KeyRecording,
    LinearScale,
    RawEvents,
    RawTrace,
    RigInfo,
    RunInfo,
)
from recordings.writer import write_recording
from rig.virtual.bench import BenchSpec
from rig.virtual.line_of_units import Line, keys_of_unit, serial_of
from rig.virtual.quick_press import led_curve, press_quickly
from rig.virtual.scenario import KeySpec
from rig.virtual.truths import true_features

FIRST_UNIT_AT = datetime(2026, 7, 1, 8, 0, tzinfo=UTC)
A_UNIT_TAKES = timedelta(minutes=6)
CALIBRATED_AT = datetime(2026, 6, 30, 16, 0, tzinfo=UTC)
MODEL, SERIAL_NUMBER = "virtual", "1"
FORCE_U, FORCE_U_NEWTON, DISPLACEMENT_U, DISPLACEMENT_U_MM, GIVE_U, SKEW_U_US = 3e-4, 2e-4, 2e-4, 5e-4, 0.03, 40.0
"""Standard uncertainties of the rig's calibration: of the scales and the give relative; what weights of class M2 and
blocks of grade 2 leave (`benchmarks/drawn_calibrations.py`)."""


@dataclass(frozen=True, slots=True)
class LineRig:
    """The rig at the end of the line: one bench, and one record that is a little wrong about it."""

    line: Line
    sample_rate_hz: int = 1000

    @property
    def spec(self) -> BenchSpec:
        """The bench as it really is."""
        return BenchSpec(seed=self.line.seed, sample_rate_hz=self.sample_rate_hz)

    def header(self, unit: int) -> Header:
        """Return all of a unit's recording but its samples."""
        rate_hz = float(self.sample_rate_hz)
        rig = RigInfo(model=MODEL, serial_number=SERIAL_NUMBER, firmware=None, sample_rate_hz=rate_hz)
        return Header(run=_run_info(self.line, unit), rig=rig, calibration=self.calibration())

    def calibration(self) -> Calibration:
        """Return what the rig states of itself, and its record, wrong by one draw from its own uncertainties."""
        sensors, period_us = self.spec.sensors, 1e6 / self.spec.sample_rate_hz
        return Calibration(
            force=_stated(sensors.force_counts_per_newton, "N"),
            displacement=_stated(sensors.displacement_counts_per_mm, "mm"),
            compliance_mm_per_newton=self.spec.compliance_mm_per_newton,
            force_delay_us=round(sensors.force_delay_samples * period_us),
            record=self._record(),
        )

    def _record(self) -> CalibrationRecord:
        random, spec = np.random.default_rng(self.line.seed), self.spec
        give, late_us = spec.compliance_mm_per_newton, spec.sensors.force_delay_samples * 1e6 / spec.sample_rate_hz
        force = _polynomial(spec.sensors.force_counts_per_newton, FORCE_U, FORCE_U_NEWTON, random, highest=8.0)
        way = _polynomial(spec.sensors.displacement_counts_per_mm, DISPLACEMENT_U, DISPLACEMENT_U_MM, random, 26.0)
        return CalibrationRecord(
            rig=RigIdentity(model=MODEL, serial_number=SERIAL_NUMBER),
            made_at=CALIBRATED_AT,
            valid_until=CALIBRATED_AT + timedelta(days=365),
            software_version=__version__,
            force=ForceCalibration(polynomial=force),
            displacement=DisplacementCalibration(polynomial=way),
            compliance=Compliance.linear(random.normal(give, GIVE_U * give), GIVE_U * give, up_to_newton=8.0),
            skew=Skew(us=random.normal(late_us, SKEW_U_US), u_us=SKEW_U_US),
        )


def _stated(counts_per_unit: float, unit: str) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference="as simulated"
    )


def _polynomial(
    counts_per_unit: float, u_relative: float, u_zero: float, random: np.random.Generator, highest: float
) -> CountPolynomial:
    slope = random.normal(1.0, u_relative) / counts_per_unit
    return CountPolynomial(
        reference_counts=0.0,
        coefficients=(random.normal(0.0, u_zero), slope),
        covariance=((u_zero**2, 0.0), (0.0, (u_relative / counts_per_unit) ** 2)),
        range_counts=(-0.5 * counts_per_unit, highest * counts_per_unit),
    )


def unit_file(folder: Path, line: Line, unit: int) -> Path:
    """Return where a unit's recording lies."""
    return folder / f"{serial_of(line, unit)}.h5"


def record_unit(path: Path, *, line: Line) -> list[dict[str, Any]]:
    """Record the unit whose serial number is the file's name, and return what is true of its keys, one after another.

    Raises RecordingError as `write_recording` does.
    """
    unit = int(path.stem.rpartition("-")[2])
    rig, keys = LineRig(line), keys_of_unit(line, unit)
    truths: list[dict[str, Any]] = []
    write_recording(path, rig.header(unit), (recorded_key(key, rig, unit, truths) for key in keys))
    return truths


def _run_info(line: Line, unit: int) -> RunInfo:
    return RunInfo(
        instrument=line.scenario,
        serial=serial_of(line, unit),
        started_at=FIRST_UNIT_AT + A_UNIT_TAKES * (unit - 1),
        software_version=__version__,
        programme="slow",
        operator="Tern Lane Actions",
        note="virtual line: invented keys",
    )


def recorded_key(key: KeySpec, rig: LineRig, unit: int, truths: list[dict[str, Any]]) -> KeyRecording:
    """Return one key's recording, and add to `truths` what is true of it."""
    spec, random = rig.spec, np.random.default_rng((rig.spec.seed, unit, key.number))
    sensors = replace(spec.sensors, force_zero_newton=random.normal(0.05, 0.01))
    here = replace(spec, sensors=sensors, seed=int(random.integers(2**31)))
    curve = led_curve(key)
    samples, events = press_quickly(key, curve, here, random, strokes=rig.line.strokes)
    truths.append({"key": Key(key.number).name, "fault": key.fault, "features": true_features(key, curve=curve.even())})
    ticks = samples["tick_us"].astype(np.int64)
    return KeyRecording(
        Key(key.number),
        RawTrace(np.arange(len(ticks)), ticks, samples["force_counts"], samples["displacement_counts"]),
        RawEvents(events["tick_us"].astype(np.int64), events["source"], events["byte"]),
    )
