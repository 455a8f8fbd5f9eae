"""How the virtual rig introduces itself: its Hello, its channels and what it can do, from its specification."""

from __future__ import annotations

from dataclasses import dataclass, field

from rig.protocol.messages import Channel, Hello, Move, Swing
from rig.protocol.table import PROTOCOL_VERSION
from rig.virtual.bench import BenchSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class RigSpec:
    """Who the rig says it is, and how long it waits for a silent host."""

    model: str = "virtual bench"
    serial_number: str = "V-0001"
    firmware: str = "2"
    watchdog_us: int = 250_000
    bench: BenchSpec = field(default_factory=BenchSpec)


def hello_of(spec: RigSpec, axis_count: int, start_count: int, sample_number: int, event_number: int) -> Hello:
    """Return the Hello of a rig that has started `start_count` times and would number its next sample and event so."""
    bench = spec.bench
    return Hello(
        protocol_version=PROTOCOL_VERSION,
        model=spec.model,
        serial_number=spec.serial_number,
        firmware=spec.firmware,
        sample_rate_mhz=bench.sample_rate_hz * 1000,
        channel_count=2,
        axis_count=axis_count,
        compliance_nm_per_newton=round(bench.compliance_mm_per_newton * 1e6),
        fastest_um_per_s=round(bench.stage.fastest_mm_per_s * 1000),
        hardest_um_per_s2=round(bench.stage.hardest_mm_per_s2 * 1000),
        start_count=start_count & 0xFFFF,
        next_sample_number=sample_number & 0xFFFFFFFF,
        next_event_number=event_number & 0xFFFFFFFF,
    )


def channels_of(spec: RigSpec) -> tuple[Channel, Channel]:
    """Return what the rig says of its force and its displacement."""
    bench, sensors = spec.bench, spec.bench.sensors
    late_us = sensors.force_delay_samples * (1_000_000 // bench.sample_rate_hz)
    most, stage = sensors.force_range_newton, bench.stage
    return (
        Channel(0, "force", "N", sensors.force_counts_per_newton, 0, late_us, -most, most),
        Channel(1, "displacement", "mm", sensors.displacement_counts_per_mm, 0, 0, stage.lowest_mm, stage.highest_mm),
    )


def is_within_reach(spec: RigSpec, command: Move | Swing, target_um: int) -> bool:
    """Tell whether the plunger can do this, as the rig says of itself."""
    stage, sensors = spec.bench.stage, spec.bench.sensors
    return (
        stage.lowest_mm * 1000 <= target_um <= stage.highest_mm * 1000
        and 0 < command.speed_um_per_s <= stage.fastest_mm_per_s * 1000
        and 0 < command.acceleration_um_per_s2 <= stage.hardest_mm_per_s2 * 1000
        and 0 < command.force_limit_mn <= sensors.force_range_newton * 1000
    )
