"""Builders for tests at a virtual workbench: truths with nothing wrong but what the test names, and quiet sensors."""

from __future__ import annotations

from typing import Any

import numpy as np

from rig.protocol.messages import SAMPLE_DTYPE
from rig.virtual.bench import BenchSpec
from rig.virtual.person import VirtualPerson
from rig.virtual.reference_bench import ReferenceBench
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.sensors import SensorSpec
from rig.virtual.stage import StageSpec
from rig.virtual.workbench import Workbench
from rig.virtual.workbench_file import WorkbenchSpec

KEYS = keyboard_of(load_scenario("fern"))
GRAVITY = 9.81
QUIET = SensorSpec(
    force_noise_newton=0.0,
    hum_newton=0.0,
    drift_walk_newton=0.0,
    force_counts_per_newton=1e6,
    displacement_counts_per_mm=1e5,
    displacement_noise_mm=0.0,
    force_delay_samples=2,
)
"""Counts of 1 uN and 10 nm, no noise: what is left is the model."""
QUIET_BENCH = BenchSpec(sensors=QUIET, stage=StageSpec(ripple_mm=0.0))


def truths(**changed: Any) -> WorkbenchSpec:
    """Return a workbench at 9.81 m/s2 in air of 1.2 kg/m3, with sensors that are what they state."""
    whole: dict[str, Any] = {
        "name": "bare",
        "title": "a bench for a test",
        "gravity_m_per_s2": GRAVITY,
        "force": {"zero_newton": 0.0, "drift_newton_per_s": 0.0},
        "displacement": {},
        "frame": {"stiffness_newton_per_mm": 50.0},
        "stop": {"surface_mm": 10.0},
        "spring": {"surface_mm": 6.0, "stiffness_newton_per_mm": 0.8},
        "masses": [
            {"name": "m100", "nominal_g": 100.0, "true_conventional_g": 100.002},
            {"name": "m200", "nominal_g": 200.0, "true_conventional_g": 199.995, "density_kg_per_m3": 2700.0},
        ],
        "blocks": [
            {"name": "b5", "nominal_mm": 5.0, "true_mm": 5.0003},
            {"name": "b15", "nominal_mm": 15.0, "true_mm": 14.9996},
        ],
    }
    for name, value in changed.items():
        whole[name] = whole[name] | value if isinstance(whole.get(name), dict) else value
    return WorkbenchSpec.model_validate(whole)


class AtTheBench:
    """A bench, its operator, and the time, which passes only when told to. Units are as the rig states them."""

    def __init__(
        self, truth: WorkbenchSpec | None = None, spec: BenchSpec = QUIET_BENCH, person: VirtualPerson | None = None
    ) -> None:
        self.bench = ReferenceBench(spec, KEYS, person, truth or truths())
        self._operator = Workbench(self.bench)
        self._now_us = 0

    def say(self, line: str) -> str:
        """Say a line that must be obeyed."""
        answer = self._operator.obey(line)
        assert answer.startswith("ok "), answer
        return answer

    def refused(self, line: str) -> str:
        """Say a line that must not be obeyed and return why."""
        answer = self._operator.obey(line)
        assert answer.startswith("no: "), answer
        return answer.removeprefix("no: ")

    def shown(self, seconds: float) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
        """Let time pass; return newtons and millimetres as the rig states them, shape (N,) each."""
        count = round(seconds * self.bench.spec.sample_rate_hz)
        samples = self.bench.make_samples(count, self._now_us, lambda *_: None)
        assert samples.dtype == SAMPLE_DTYPE
        self._now_us += count * self.bench.sample_period_us
        sensors = self.bench.spec.sensors
        return (
            samples["force_counts"] / sensors.force_counts_per_newton,
            samples["displacement_counts"] / sensors.displacement_counts_per_mm,
        )

    def go(self, to_mm: float, mm_per_s: float = 2.0) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
        """Bring the plunger to a place; return what was shown on the way, and a little after."""
        self.bench.stage.go(to_mm, mm_per_s, 1000.0)
        shown = [self.shown(0.05)]
        while self.bench.stage.moving:
            shown.append(self.shown(0.05))
        shown.append(self.shown(0.05))
        force, place = zip(*shown, strict=True)
        return np.concatenate(force), np.concatenate(place)
