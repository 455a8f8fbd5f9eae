"""Sensors with hidden truths: what they show is not what the rig states.

How it works: the true force goes through the cell (hysteresis, creep, then the bent scale) and through the delay line,
which may be late by a part of a sample: then it is read off the straight line between two. The gauge has play: it
follows only when the plunger has come to the end of a dead band. Noise, hum, zero and drift come on top as ever.

The hysteresis is one play element (Prandtl-Ishlinskii; M. Krasnosel'skii and A. Pokrovskii, Systems with Hysteresis,
1989, from memory), the creep one exponential. Not simulated: temperature, shocks when a mass is put down.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from math import exp, floor, sqrt

import numpy as np
from numpy.typing import NDArray

from rig.virtual.sensors import Sensors, SensorSpec
from rig.virtual.workbench_file import DisplacementTruth, ForceTruth

BROKEN_NEWTON = 100.0
"""A cell is bent for good by more; here it only shows no more."""


class Play:
    """Follows a value with a dead band: moves only where the value comes to its end."""

    def __init__(self, width: float, starts_at: float = 0.0) -> None:
        self._half = width / 2.0
        self._at = starts_at

    def follow(self, value: float) -> float:
        """Return where the follower is now: half the width behind a value that has gone one way long enough."""
        self._at = min(max(self._at, value - self._half), value + self._half)
        return self._at


class Cell:
    """The load cell without its noise: true newtons to nominal newtons."""

    def __init__(self, truth: ForceTruth, period_s: float) -> None:
        self.truth = truth
        self._play = Play(truth.hysteresis_way_newton)
        self._hysteresis_share = 2.0 * truth.hysteresis_newton / truth.hysteresis_way_newton
        self._crept_newton = 0.0
        self._creeps = 1.0 - exp(-period_s / truth.creep_s)

    def shows(self, force_newton: float) -> float:
        """Return what the cell shows one sample later in its life, in nominal newtons."""
        force = min(max(force_newton, -BROKEN_NEWTON), BROKEN_NEWTON)
        behind = self._hysteresis_share * (self._play.follow(force) - force)
        self._crept_newton += self._creeps * (self.truth.creep_share * force - self._crept_newton)
        return self.bent(force + behind + self._crept_newton)

    def bent(self, force_newton: float) -> float:
        """Return v of force = v (1 + scale error) + quadratic v^2: the root that is 0 at 0."""
        line, square = 1.0 + self.truth.scale_error, self.truth.quadratic_per_newton
        return 2.0 * force_newton / (line + sqrt(line * line + 4.0 * square * force_newton))


class TrueSensors(Sensors):
    """Both sensors as they really are; `spec` is what the rig states."""

    def __init__(
        self, spec: SensorSpec, force: ForceTruth, displacement: DisplacementTruth, *, sample_rate_hz: float, seed: int
    ) -> None:
        spec = replace(spec, force_zero_newton=force.zero_newton, drift_newton_per_s=force.drift_newton_per_s)
        super().__init__(spec, sample_rate_hz=sample_rate_hz, seed=seed)
        self._cell = Cell(force, 1.0 / sample_rate_hz)
        late_samples = spec.force_delay_samples + force.skew_us * 1e-6 * sample_rate_hz
        whole = floor(late_samples)
        self._part = late_samples - whole
        self._late = deque([0.0] * (whole + 2), maxlen=whole + 2)
        self._gauge: Play | None = None
        self._displacement = displacement

    def drift_by(self, newton_per_s: float) -> None:
        """Let the zero drift by this from now on, in nominal newtons."""
        self.spec = replace(self.spec, drift_newton_per_s=newton_per_s)

    def delayed(self, force_newton: float) -> float:
        """Return what the cell's filter lets out now: what the cell showed some samples, and a part of one, ago."""
        self._late.append(self._cell.shows(force_newton))
        return (1.0 - self._part) * self._late[1] + self._part * self._late[0]

    def displacement_counts(self, plunger_mm: NDArray[np.float64]) -> NDArray[np.int32]:
        """Return whole counts of a gauge with play and a wrong scale."""
        if self._gauge is None:  # it begins in the middle of its play
            self._gauge = Play(self._displacement.backlash_mm, float(plunger_mm[0]))
        followed = np.array([self._gauge.follow(place) for place in plunger_mm.tolist()])
        return super().displacement_counts(followed / (1.0 + self._displacement.scale_error))
