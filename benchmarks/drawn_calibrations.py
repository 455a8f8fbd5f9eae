"""A calibration made anew for every virtual rig, by keyplumb's own arithmetic from readings that err as readings do.

How it works: masses and blocks are what their classes promise, drawn once for each rig; every reading of them has its
own scatter; the record's scales and covariances are then those that `calibrate_force` and `calibrate_displacement`
find. Give and skew are drawn about the truth with the uncertainty that the record states, which is what presses on a
stop and strokes on a spring leave. So every record is wrong, and says by how much it may be.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from processing.calibration.displacement_steps import (
    BlockReading,
    GaugeBlock,
    block_of_grade,
    calibrate_displacement,
)
from processing.calibration.force_steps import calibrate_force
from processing.calibration.gravity import Gravity
from processing.calibration.masses import Mass, MassList, StackForces, stack_forces
from processing.calibration.sequence import LoadStep
from processing.calibration.settings import DisplacementSettings
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    CountPolynomial,
    DisplacementCalibration,
    ForceCalibration,
    RigIdentity,
    Skew,
)
from rig.virtual.bench import BenchSpec

MASSES = MassList(masses=tuple(Mass(name=str(g), nominal_g=float(g), oiml_class="M2") for g in (20, 50, 100, 200)))
STACKS = (("20",), ("50",), ("100",), ("100", "50"), ("200",), ("200", "50"), ("200", "100"), ("200", "100", "50"))
GRAVITY = Gravity(9.81, 0.001, "latitude")
"""As the formula of normal gravity gives it, 1e-4 (`GravitySettings.anomaly_share`)."""
CYCLES, SAMPLES = 3, 500
PLACING_NEWTON = 0.0005
"""Standard deviation of a reading beyond its noise: how the masses lie on the pan."""
BLOCKS_MM, BLOCK_GRADE, BLOCK_ROUNDS = (2.0, 5.0, 10.0), "2", 3
SEATING_MM = 0.0015
"""Standard deviation of a reading of a block: wringing, dust, touch."""
GIVE_SHARE = 0.03
"""Standard uncertainty of the give, relative: a few per cent, by presses on a stop."""
SKEW_US = (20.0, 100.0)
"""Lowest and highest standard uncertainty of the skew: strokes on a spring leave so much, by their number."""
STIFFEST_NEWTON = 6.0


@dataclass(frozen=True, slots=True)
class Drawer:
    """Draws the calibration of one rig."""

    spec: BenchSpec
    random: np.random.Generator

    def record(self) -> CalibrationRecord:
        """Return a calibration record of the rig."""
        give, u_us = self.spec.compliance_mm_per_newton, self.random.uniform(*SKEW_US)
        u_give = GIVE_SHARE * give
        late_us = self.spec.sensors.force_delay_samples * 1e6 / self.spec.sample_rate_hz
        return CalibrationRecord(
            rig=RigIdentity(model="virtual", serial_number="1"),
            made_at=datetime(2026, 3, 1, tzinfo=UTC),
            valid_until=datetime(2027, 3, 1, tzinfo=UTC),
            software_version="as simulated",
            force=self._force(),
            displacement=self._displacement(),
            compliance=Compliance.linear(self.random.normal(give, u_give), u_give, up_to_newton=STIFFEST_NEWTON),
            skew=Skew(us=self.random.normal(late_us, u_us), u_us=u_us),
        )

    def _force(self) -> ForceCalibration:
        stacks = [(), *(one for _ in range(CYCLES) for one in (*STACKS, *reversed(STACKS[:-1]), ()))]
        told = stack_forces(stacks, MASSES, GRAVITY)
        laid_newton = self.random.multivariate_normal(told.force_newton, told.covariance_newton2, method="eigh")
        laid = zip(stacks, laid_newton.tolist(), strict=True)
        steps = [self._step(stack, newton, 20.0 * number) for number, (stack, newton) in enumerate(laid)]
        found = calibrate_force(steps, StackForces(told.force_newton, told.covariance_newton2))
        by_scatter, whole = found.scatter_covariance[1, 1], found.covariance[1, 1]
        polynomial = CountPolynomial(
            reference_counts=0.0,
            coefficients=tuple(found.coefficients.tolist()),
            covariance=tuple(map(tuple, found.covariance.tolist())),
            dof=float(found.dof * (whole / by_scatter) ** 2),  # Welch-Satterthwaite: the masses are known as stated
            range_counts=(0.0, found.highest_newton / found.resolution_newton),
        )
        return ForceCalibration(polynomial=polynomial)

    def _step(self, stack: tuple[str, ...], newton: float, time_s: float) -> LoadStep:
        sensors = self.spec.sensors
        scatter = np.hypot(PLACING_NEWTON * bool(stack), sensors.force_noise_newton / np.sqrt(SAMPLES))
        shown = newton + self.random.normal(0.0, scatter)
        gain = sensors.force_counts_per_newton
        return LoadStep(
            masses=stack,
            mean_counts=float(gain * shown),
            sd_counts=gain * sensors.force_noise_newton,
            samples=SAMPLES,
            time_s=time_s,
        )

    def _displacement(self) -> DisplacementCalibration:
        blocks = [block_of_grade(nominal_mm, BLOCK_GRADE) for nominal_mm in BLOCKS_MM]
        true_mm = {None: 0.0} | {block: self._true_length_mm(block) for block in blocks}
        shared = self._shared_share()
        readings = [
            BlockReading(block, direction, self._block_counts(true_mm[block] * (1.0 + shared)))
            for _ in range(BLOCK_ROUNDS)
            for block in (None, *blocks)
            for direction in ("down", "up")
        ]
        found = calibrate_displacement(readings)
        polynomial = CountPolynomial(
            reference_counts=0.0,
            coefficients=(found.offset_mm, found.mm_per_count),
            covariance=tuple(map(tuple, found.covariance[:2, :2].tolist())),
            dof=None,
            range_counts=(0.0, found.highest_mm / found.mm_per_count),
        )
        return DisplacementCalibration(
            polynomial=polynomial, backlash_mm=found.backlash_mm, u_backlash_mm=found.backlash_u_mm
        )

    def _true_length_mm(self, block: GaugeBlock) -> float:
        return block.length_mm + self.random.normal(0.0, block.u_mm)

    def _shared_share(self) -> float:
        """Return by what share warmth and a lean make all blocks look longer, within what the analysis allows for."""
        knobs = DisplacementSettings()
        warm = knobs.expansion_per_c * self.random.uniform(-1.0, 1.0) * knobs.temperature_limit_c
        lean = np.radians(self.random.uniform(0.0, knobs.alignment_limit_deg)) ** 2 / 2.0
        return float(warm + self.random.choice((-1.0, 1.0)) * lean)

    def _block_counts(self, true_mm: float) -> float:
        return (true_mm + self.random.normal(0.0, SEATING_MM)) * self.spec.sensors.displacement_counts_per_mm
