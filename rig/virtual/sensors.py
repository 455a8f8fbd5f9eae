"""What the load cell and the displacement gauge make of the truth: noise, hum, drift, delay, whole counts."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """Both sensors in numbers; the defaults are the default noise of the virtual rig."""

    force_noise_newton: float = 0.003
    """Standard deviation of one sample."""
    hum_newton: float = 0.0015
    hum_hz: float = 50.0
    drift_newton_per_s: float = 0.00005
    drift_walk_newton: float = 0.00001
    """Standard deviation of the random walk's step from sample to sample."""
    force_zero_newton: float = 0.05
    """What the cell shows without load when the rig starts."""
    force_counts_per_newton: float = 20000.0
    force_range_newton: float = 20.0
    displacement_counts_per_mm: float = 500.0
    """500: steps of 2 um."""
    displacement_noise_mm: float = 0.0005
    force_delay_samples: int = 2


class Sensors:
    """Both sensors with their memory: the delay line, the phase of the hum and where the drift has come to."""

    def __init__(self, spec: SensorSpec, *, sample_rate_hz: float, seed: int) -> None:
        self.spec = spec
        self.sample_rate_hz = sample_rate_hz
        self._random = np.random.default_rng(seed)
        self._drift_newton = spec.force_zero_newton
        self._sample_number = 0
        self._late = deque([0.0] * (spec.force_delay_samples + 1), maxlen=spec.force_delay_samples + 1)

    def force_errors(self, count: int) -> NDArray[np.float64]:
        """Return what will be added to the next `count` force samples, in N, shape (count,)."""
        spec = self.spec
        number = self._sample_number + np.arange(count)
        self._sample_number += count
        steps = spec.drift_newton_per_s / self.sample_rate_hz + spec.drift_walk_newton * self._random.standard_normal(
            count
        )
        drift = self._drift_newton + np.cumsum(steps)
        self._drift_newton = float(drift[-1])
        hum = spec.hum_newton * np.sin(2.0 * np.pi * spec.hum_hz * number / self.sample_rate_hz)
        errors: NDArray[np.float64] = drift + hum + spec.force_noise_newton * self._random.standard_normal(count)
        return errors

    @property
    def shows_nothing(self) -> bool:
        """Whether the cell's filter holds no force any more."""
        return not any(self._late)

    def delayed(self, force_newton: float) -> float:
        """Return what the cell's filter lets out now: the force of some samples ago."""
        self._late.append(force_newton)
        return self._late[0]

    def force_counts(self, measured_newton: NDArray[np.float64]) -> NDArray[np.int32]:
        """Return whole counts, cut off at the range of the cell."""
        most = self.spec.force_range_newton
        return np.rint(np.clip(measured_newton, -most, most) * self.spec.force_counts_per_newton).astype(np.int32)

    def displacement_counts(self, plunger_mm: NDArray[np.float64]) -> NDArray[np.int32]:
        """Return whole counts of the gauge."""
        noisy = plunger_mm + self.spec.displacement_noise_mm * self._random.standard_normal(len(plunger_mm))
        return np.floor(noisy * self.spec.displacement_counts_per_mm + 0.5).astype(np.int32)
