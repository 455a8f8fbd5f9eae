"""From gauge blocks, read in both directions, to the scale of the displacement.

How it works: length = offset + scale counts + direction backlash / 2, with direction +1 going down and -1 going up, by
least squares over all readings. What is known of the blocks (grade or certificate, temperature) and of the alignment
is carried over. A gauge that leans by an angle reads 1 / cos too much or cos too little; which, nobody knows, so
nothing is corrected and the root mean square over the lean is an uncertainty.
Sources: limits: ISO 3650 (grade K from memory); rectangles: GUM 4.3.7; cosine: E[(t^2/2)^2] = l^4/20 for t uniform on
[-l, l]; a deviation that is not corrected: GUM F.2.4.5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import cos, radians, sqrt
from pathlib import Path
from typing import Literal

import numpy as np

from processing.calibration.errors import TooFewReadings, UnknownReference
from processing.calibration.settings import DisplacementSettings
from processing.stages import FloatArray, read_only

TOLERANCES_FILE = Path(__file__).parent / "data" / "gauge_block_tolerances.csv"
Direction = Literal["down", "up"]


@dataclass(frozen=True, slots=True)
class GaugeBlock:
    """A known step: its length at 20 degrees Celsius and standard uncertainty."""

    length_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class BlockReading:
    """One reading: block None is the bare table, length 0. direction: in which the plunger came to it."""

    block: GaugeBlock | None
    direction: Direction
    mean_counts: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DisplacementCalibration:
    """mm = offset + mm_per_count counts, plus half of the backlash going down, minus half going up."""

    mm_per_count: float
    """Also the step of the counts. Negative if counts fall where lengths rise."""
    mm_per_count_u: float
    """From scatter, blocks, temperature and alignment."""
    offset_mm: float
    offset_u_mm: float
    backlash_mm: float
    """Length that a count stands for going down less that going up."""
    backlash_u_mm: float
    """From the scatter; what is wrong with a block is the same both ways."""
    covariance: FloatArray
    """(3, 3), of offset, scale, backlash."""
    residuals_mm: FloatArray
    """(N,), length less length shown."""
    residual_sd_mm: float
    dof: int
    cosine_bound_mm: float
    """Largest error of the longest block by a lean at its limit."""
    lowest_mm: float
    highest_mm: float

    def __post_init__(self) -> None:
        read_only(self.covariance, self.residuals_mm)


@cache
def _tolerances() -> tuple[tuple[float, float, str, float, float], ...]:
    """Return rows of over mm, up to mm, grade, limit deviation um, variation um."""
    lines = [line for line in TOLERANCES_FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = [line.split(",") for line in lines[1:]]
    return tuple((float(row[0]), float(row[1]), row[2], float(row[3]), float(row[4])) for row in rows)


def block_of_grade(nominal_mm: float, grade: str) -> GaugeBlock:
    """Return a block with what its grade alone promises: limit deviation and variation as rectangles.

    The variation in length counts with half of it on either side. Raises UnknownReference beyond the table.
    """
    for over, up_to, name, limit_um, variation_um in _tolerances():
        if name == grade and over < nominal_mm <= up_to:
            return GaugeBlock(nominal_mm, float(np.hypot(limit_um, variation_um / 2.0)) / sqrt(3.0) * 1e-3)
    known = [f"{name} over {over:g} to {up_to:g} mm" for over, up_to, name, *_ in _tolerances()]
    raise UnknownReference("gauge block", f"{grade}, {nominal_mm:g} mm", known)


def calibrate_displacement(
    readings: Sequence[BlockReading], settings: DisplacementSettings | None = None
) -> DisplacementCalibration:
    """Return scale, offset and backlash with their uncertainties.

    Blocks at two lengths at least (the bare table is one), both directions, five readings or more.
    Raises TooFewReadings otherwise.
    """
    knobs = settings or DisplacementSettings()
    length = np.array([0.0 if reading.block is None else reading.block.length_mm for reading in readings])
    counts = np.array([reading.mean_counts for reading in readings])
    side = np.array([0.5 if reading.direction == "down" else -0.5 for reading in readings])
    _refuse_what_shows_no_scale(length, counts, side)
    half = float(np.ptp(counts)) / 2.0
    design = np.column_stack((np.ones_like(counts), counts / half, side))
    unscaled = np.linalg.inv(design.T @ design)
    estimator = np.diag([1.0, 1.0 / half, 1.0]) @ unscaled @ design.T
    found = estimator @ length
    residuals = length - np.column_stack((np.ones_like(counts), counts, side)) @ found
    dof = len(readings) - 3
    sd = float(np.sqrt(np.sum(residuals**2) / dof))
    covariance = sd**2 * (estimator @ estimator.T) + estimator @ _length_covariance(readings, knobs) @ estimator.T
    u = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return DisplacementCalibration(
        mm_per_count=float(found[1]),
        mm_per_count_u=float(u[1]),
        offset_mm=float(found[0]),
        offset_u_mm=float(u[0]),
        backlash_mm=float(found[2]),
        backlash_u_mm=float(u[2]),
        covariance=covariance,
        residuals_mm=residuals,
        residual_sd_mm=sd,
        dof=dof,
        cosine_bound_mm=float(length.max()) * (1.0 - cos(radians(knobs.alignment_limit_deg))),
        lowest_mm=float(length.min()),
        highest_mm=float(length.max()),
    )


def _refuse_what_shows_no_scale(length: FloatArray, counts: FloatArray, side: FloatArray) -> None:
    if len(length) < 5 or len(np.unique(length)) < 2 or len(np.unique(side)) < 2:
        raise TooFewReadings("read five times or more, at two lengths or more, coming down to some and up to some")
    if np.ptp(counts) == 0.0:
        raise TooFewReadings("the gauge stands at one place for all blocks; does it move with the plunger?")


def _length_covariance(readings: Sequence[BlockReading], knobs: DisplacementSettings) -> FloatArray:
    """Return how the lengths' errors hang together: a block errs alike each time, temperature and lean act on all."""
    length = np.array([0.0 if reading.block is None else reading.block.length_mm for reading in readings])
    blocks = list(dict.fromkeys(reading.block for reading in readings if reading.block is not None))
    own = np.array([[block.u_mm * (reading.block == block) for block in blocks] for reading in readings])
    by_temperature = length * knobs.expansion_per_c * knobs.temperature_limit_c / sqrt(3.0)
    by_lean = length * radians(knobs.alignment_limit_deg) ** 2 / sqrt(20.0)
    covariance: FloatArray = own @ own.T + np.outer(by_temperature, by_temperature) + np.outer(by_lean, by_lean)
    return covariance
