"""Builders with defaults: a test names only the field it is about.

The synthetic key here is made of straight lines and cosines, by nobody's physics: its numbers are known by
construction, without the virtual rig.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from processing.settings import Settings
from processing.stages import Curve
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
    MIDI_IN,
    Calibration,
    Header,
    KeyRecording,
    LinearScale,
    RawEvents,
    RawTrace,
    RigInfo,
    RunInfo,
)

Array = NDArray[np.float64]
C4 = Key.from_name("C4")
MICRO = 1_000_000


@dataclass(frozen=True, kw_only=True)
class SyntheticKey:
    """A key whose force is known at every place: N and mm from touch."""

    down: float = 0.50
    up: float = 0.28
    peak_mm: float = 8.0
    peak_rise: float = 0.15
    rise_mm: float = 1.0
    fall_mm: float = 0.5
    bed_mm: float = 9.5
    bed_newton_per_mm: float = 6.0

    def force_down(self, x: Array) -> Array:
        """Plateau, a raised-cosine ridge, then a straight key bed."""
        width = np.where(x < self.peak_mm, self.rise_mm, self.fall_mm)
        off = np.clip((x - self.peak_mm) / width, -1.0, 1.0)
        ridge = self.peak_rise * 0.5 * (1.0 + np.cos(np.pi * off))
        return np.where(x < 0.0, 0.0, self.down + ridge + self.bed(x))

    def force_up(self, x: Array) -> Array:
        """Plateau and key bed, no ridge."""
        return np.where(x < 0.0, 0.0, self.up + self.bed(x))

    def bed(self, x: Array) -> Array:
        return self.bed_newton_per_mm * np.clip(x - self.bed_mm, 0.0, None)

    @property
    def key_dip(self) -> float:
        """Where the straight bed reaches 3 N."""
        return self.bed_mm + (3.0 - self.down) / self.bed_newton_per_mm


@dataclass(frozen=True, kw_only=True)
class Press:
    """How a synthetic key is pressed and seen."""

    strokes: int = 3
    speed: float = 4.0
    rate_hz: float = 1000.0
    noise: float = 0.002
    zero: float = 0.0
    place: float = 0.0
    """Displacement at touch."""
    air_mm: float = 0.6
    """How far above touch each stroke starts; negative: it starts on the pressed key."""
    rest_s: float = 0.2
    turn_newton: float = 4.0
    seed: int = 1


def pressed(key: SyntheticKey, how: Press) -> tuple[Array, Array, Array]:
    """Return time (s), displacement (mm) and force (N) of some strokes."""
    random = np.random.default_rng(how.seed)
    deepest = key.bed_mm + (how.turn_newton - key.down) / key.bed_newton_per_mm
    step = how.speed / how.rate_hz
    down = np.arange(-how.air_mm, deepest, step)
    rest = np.full(round(how.rest_s * how.rate_hz), -how.air_mm)
    still = np.full(len(rest), 0.0 if how.air_mm >= 0 else float(key.force_up(np.array([-how.air_mm]))[0]))
    up = down[::-1]
    way = np.concatenate([rest, *[np.concatenate([down, up, rest]) for _ in range(how.strokes)]])
    force = np.concatenate(
        [still, *[np.concatenate([key.force_down(down), key.force_up(up), still]) for _ in range(how.strokes)]]
    )
    time = np.arange(len(way)) / how.rate_hz
    return time, way + how.place, force + how.zero + how.noise * random.standard_normal(len(way))


def a_trace(time: Array, way: Array, force: Array) -> RawTrace:
    """Counts of 1 nm and 1 uN."""
    return RawTrace(
        np.arange(len(time), dtype=np.int64),
        np.rint(time * MICRO).astype(np.int64),
        np.rint(force * MICRO).astype(np.int32),
        np.rint(way * MICRO).astype(np.int32),
    )


def a_scale(unit: str = "N", counts_per_unit: float = MICRO) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference="a test"
    )


def a_calibration(*, compliance_mm_per_newton: float = 0.0, force_delay_us: int = 0) -> Calibration:
    return Calibration(
        force=a_scale("N"),
        displacement=a_scale("mm"),
        compliance_mm_per_newton=compliance_mm_per_newton,
        force_delay_us=force_delay_us,
    )


def a_polynomial(
    *coefficients: float, reference: float = 0.0, reach: tuple[float, float] = (-20e6, 20e6)
) -> CountPolynomial:
    """Counts of 1 uN or 1 nm, unless told otherwise; known to 0.1 % and 1 mN or 1 um."""
    chosen = coefficients or (0.0, 1e-6)
    size = len(chosen)
    variances = (1e-6, 1e-18, 1e-32)
    return CountPolynomial(
        reference_counts=reference,
        coefficients=chosen,
        covariance=tuple(tuple(variances[i] if i == j else 0.0 for j in range(size)) for i in range(size)),
        dof=20.0,
        range_counts=reach,
    )


WHOLE_RECORD = CalibrationRecord(
    rig=RigIdentity(model="a rig", serial_number="1"),
    made_at=datetime(2026, 1, 1, tzinfo=UTC),
    valid_until=datetime(2027, 1, 1, tzinfo=UTC),
    software_version="0",
    force=ForceCalibration(polynomial=a_polynomial()),
    displacement=DisplacementCalibration(polynomial=a_polynomial()),
    compliance=Compliance.linear(0.0, 0.0001, up_to_newton=10.0),
    skew=Skew(us=0.0, u_us=10.0),
)
"""Of the rig of `a_header`, valid on its day; it says of the counts what the rig says of itself."""


def a_header(instrument: str = "a test") -> Header:
    return Header(
        run=RunInfo(
            instrument=instrument,
            started_at=datetime(2026, 3, 1, 12, 0, tzinfo=UTC),
            software_version="0",
            programme="a test",
        ),
        rig=RigInfo(model="a rig", serial_number="1", firmware="1", sample_rate_hz=1000.0),
        calibration=a_calibration(),
    )


def a_recording(
    key: SyntheticKey | None = None, how: Press | None = None, *, name: Key = C4, events: RawEvents | None = None
) -> KeyRecording:
    return KeyRecording(name, a_trace(*pressed(key or SyntheticKey(), how or Press())), events or RawEvents.none())


def a_curve(x: Array, down: Array, up: Array | None = None, *, u: float = 0.0005) -> Curve:
    """A curve as if it had been smoothed: even grid, constant standard error."""
    return Curve(
        x,
        down,
        up,
        np.full(len(x), u),
        None if up is None else np.full(len(x), u),
        half_width_mm=0.15,
        gap=np.zeros(len(x), np.bool_),
        strokes=3,
        noise_dof=1000.0,
    )


def midi(*said: tuple[float, bytes], source: int = MIDI_IN) -> RawEvents:
    """Events of MIDI messages, each as (seconds, bytes)."""
    rows = [(round(seconds * MICRO), byte) for seconds, message in said for byte in message]
    return RawEvents(
        np.array([tick for tick, _ in rows], np.int64),
        np.full(len(rows), source, np.uint8),
        np.array([byte for _, byte in rows], np.uint8),
    )


SETTINGS = Settings()
QUICK = replace(SETTINGS, uncertainty=replace(SETTINGS.uncertainty, noise_draws=3))
