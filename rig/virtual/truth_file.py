"""The side file with all that the model knows of its keys: what results are held against."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from rig.virtual.bench import BenchSpec
from rig.virtual.dynamic_truths import true_dynamics
from rig.virtual.scenario import KeySpec, Scenario
from rig.virtual.truths import true_features
from rig.virtual.workbench_file import WorkbenchSpec

COMPLIANCE_POINTS = 81
"""Of the frame's give over the range of the cell: every 0.25 N for 20 N."""


def workbench_truths(truth: WorkbenchSpec, spec: BenchSpec) -> dict[str, Any]:
    """Return what a calibration of a rig that states only the nominal `spec` should find.

    force: F = newton_per_count n + newton_per_count2 n^2 for n counts above zero_counts (those of the start);
    backlash_mm: way shown on the way up less way shown on the way down, at one place; compliance: the frame's give at
    forces, both (K,); skew_us: beyond the delay that the rig states; force_delay_us: the whole of it.
    """
    force, displacement, frame, sensors = truth.force, truth.displacement, truth.true_frame(), spec.sensors
    newton = np.linspace(0.0, sensors.force_range_newton, COMPLIANCE_POINTS).tolist()
    return {
        "name": truth.name,
        "force": {
            "newton_per_count": (1.0 + force.scale_error) / sensors.force_counts_per_newton,
            "newton_per_count2": force.quadratic_per_newton / sensors.force_counts_per_newton**2,
            "zero_counts": force.zero_newton * sensors.force_counts_per_newton,
            "hysteresis_newton": force.hysteresis_newton,
            "creep_share": force.creep_share,
            "drift_newton_per_s": force.drift_newton_per_s,
        },
        "displacement": {
            "mm_per_count": (1.0 + displacement.scale_error) / sensors.displacement_counts_per_mm,
            "backlash_mm": displacement.backlash_mm,
        },
        "compliance": {"newton": newton, "mm": [frame.give_mm(at) for at in newton]},
        "skew_us": force.skew_us,
        "force_delay_us": force.skew_us + sensors.force_delay_samples * 1e6 / spec.sample_rate_hz,
        "gravity_m_per_s2": truth.gravity_m_per_s2,
        "air_density_kg_per_m3": truth.air_density_kg_per_m3,
        "masses": {mass.name: mass.true_conventional_g for mass in truth.masses},
        "blocks": {block.name: block.true_mm for block in truth.blocks},
    }


def write_truths(
    path: Path, scenario: Scenario, keys: tuple[KeySpec, ...], workbench: WorkbenchSpec | None, spec: BenchSpec
) -> None:
    """Write the side file: for each key its fault and its true features, in motion too; those of the workbench."""
    told: dict[str, Any] = {
        "schema": "keyplumb.truths/1",
        "scenario": scenario.name,
        "keys": [
            {
                "number": key.number,
                "fault": key.fault,
                "features": true_features(key) | true_dynamics(key),
                "action": asdict(key.action),
            }
            for key in keys
        ],
    }
    if workbench is not None:
        told["workbench"] = workbench_truths(workbench, spec)
    path.write_text(json.dumps(told), encoding="utf-8")
