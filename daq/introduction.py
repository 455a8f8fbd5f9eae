"""What a rig says of itself when it is greeted, in the words of a recording."""

from __future__ import annotations

from dataclasses import dataclass

from daq.errors import RigMisbehaved
from recordings.types import Calibration, LinearScale, RigInfo
from rig.protocol.messages import Axis, Channel, Hello


@dataclass(frozen=True, slots=True, kw_only=True)
class RigIntroduction:
    """What the rig says of itself."""

    info: RigInfo
    calibration: Calibration
    has_motor: bool
    has_carriage: bool
    force_range_newton: float
    travel_mm: tuple[float, float]
    fastest_mm_per_s: float = 0.0
    hardest_mm_per_s2: float = 0.0


def introduction_of(hello: Hello, channels: dict[str, Channel]) -> RigIntroduction:
    """Return what a rig has said of itself. Raises RigMisbehaved if it has no force or no displacement."""
    missing = {"force", "displacement"} - channels.keys()
    if missing:
        raise RigMisbehaved(f"it has no channel {' and '.join(sorted(missing))}")
    force, displacement = channels["force"], channels["displacement"]
    return RigIntroduction(
        info=RigInfo(
            model=hello.model,
            serial_number=hello.serial_number,
            firmware=hello.firmware,
            sample_rate_hz=hello.sample_rate_mhz / 1000,
        ),
        calibration=Calibration(
            force=_scale(force),
            displacement=_scale(displacement),
            compliance_mm_per_newton=hello.compliance_nm_per_newton * 1e-6,
            force_delay_us=force.delay_us - displacement.delay_us,
        ),
        has_motor=hello.axis_count > Axis.PLUNGER,
        has_carriage=hello.axis_count > Axis.CARRIAGE,
        force_range_newton=force.highest,
        travel_mm=(displacement.lowest, displacement.highest),
        fastest_mm_per_s=hello.fastest_um_per_s / 1000,
        hardest_mm_per_s2=hello.hardest_um_per_s2 / 1000,
    )


def _scale(channel: Channel) -> LinearScale:
    return LinearScale(
        counts_per_unit=channel.counts_per_unit,
        zero_counts=channel.zero_counts,
        unit=channel.unit,
        calibrated_on=None,
        reference="stated by the rig",
    )
