"""Whatever a table holds, measuring it ends in numbers or in reasons, never in an error."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from processing.pipeline import analyse_key
from recordings.types import KeyRecording, RawEvents
from tests.builders import C4, QUICK, a_calibration, a_trace, midi

Array = NDArray[np.float64]

WAYS: dict[str, Callable[[np.random.Generator, int], Array]] = {
    "a random walk": lambda random, count: np.cumsum(random.standard_normal(count)) / 10.0,
    "some swings": lambda random, count: 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi * random.integers(1, 9), count)),
    "down and up": lambda _, count: 1.0 - np.abs(np.linspace(-1.0, 1.0, count)),
    "noise": lambda random, count: random.random(count),
    "steps": lambda random, count: np.repeat(random.random(count // 50 + 1), 50)[:count],
    "down only": lambda _, count: np.linspace(0.0, 1.0, count),
}
FORCES: dict[str, Callable[[np.random.Generator, Array], Array]] = {
    "noise": lambda random, share: random.standard_normal(len(share)),
    "a power": lambda random, share: 4.0 * np.clip(share, 0.0, 1.0) ** random.choice([0.5, 1.0, 3.0, 20.0]),
    "two steps": lambda _, share: 0.5 * (share > 0.05) + 4.0 * (share > 0.9),
    "nothing": lambda random, share: np.full(len(share), random.choice([0.0, 0.5, 3.5])),
    "a key": lambda _, share: a_key_like_force(share),
    "a wave": lambda _, share: 3.5 * np.sin(6.0 * share),
}


def a_key_like_force(share: Array) -> Array:
    notch = 0.3 * np.exp(-(((share - 0.8) / 0.05) ** 2))
    return 0.5 * (share > 0.05) + notch + 30.0 * np.clip(share - 0.9, 0.0, None)


def any_events(random: np.random.Generator, last_s: float) -> RawEvents:
    count = int(random.integers(0, 6))
    return midi(*[(float(random.random() * last_s), bytes(random.integers(0, 256, 3).tolist())) for _ in range(count)])


@pytest.mark.parametrize("force_name", FORCES)
@pytest.mark.parametrize("way_name", WAYS)
@pytest.mark.parametrize("seed", range(3))
def test_any_table_ends_in_numbers_or_reasons(way_name: str, force_name: str, seed: int) -> None:
    random = np.random.default_rng([seed, *map(ord, way_name + force_name)])
    count = int(random.integers(20, 3000))
    time = np.cumsum(random.choice([0.001, 0.002, 0.0, 0.01], count, p=[0.7, 0.1, 0.1, 0.1]))
    share = WAYS[way_name](random, count)
    force = FORCES[force_name](random, share) + random.choice([0.0, 0.003, 0.05]) * random.standard_normal(count)
    way = share * random.choice([0.5, 2.5, 5.0, 12.0, 30.0, 300.0])
    recording = KeyRecording(
        C4, a_trace(time, way, force + random.choice([0.0, 0.2, -3.0])), any_events(random, time[-1])
    )
    result = analyse_key(recording, a_calibration(force_delay_us=2000, compliance_mm_per_newton=0.02), QUICK)

    for measurement in result.measurements:
        assert (measurement.value is None) == bool(measurement.reason)
        if measurement.value is not None:
            assert np.isfinite([measurement.value, measurement.u, measurement.dof]).all()  # type: ignore[list-item]
