"""The side file with all that the model knows of its keys: what results are held against."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rig.virtual.dynamic_truths import true_dynamics
from rig.virtual.scenario import KeySpec, Scenario
from rig.virtual.truths import true_features


def write_truths(path: Path, scenario: Scenario, keys: tuple[KeySpec, ...]) -> None:
    """Write the side file: for each key its fault and its true features, in motion too."""
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
    path.write_text(json.dumps(told), encoding="utf-8")
