"""Drift in the curves over a sitting: told by the check keys' curves, taken out of all, and what that leaves open."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from processing.comparison.curves import forces_on
from processing.comparison.pair_curves import curve_bands
from processing.comparison.settings import ComparisonSettings
from processing.comparison.shared_curves import drift_u_on
from processing.curve_drift import settle_curves
from processing.stages import KeyResult
from recordings.keys import ALL_KEYS, Key
from tests.builders import Array, a_curve
from tests.processing.comparison.keyboards import a_measurement

WAY = np.arange(0.0, 9.0, 0.05)
NATURALS = tuple(key for key in ALL_KEYS if key.colour == "natural")
HOURS = 20.0 * (np.array([key.number for key in NATURALS]) - 44.5) / 3600.0
CHECK_KEYS = (Key(4), Key(40), Key(76))
SCATTER_NEWTON = 0.005
NOISE_NEWTON = 0.0015
BED_MM = 8.5


def by_a_share(way: Array) -> Array:
    """A drift that grows with the way, as one by a share of the force does on a spring."""
    return 0.5 + way / 9.0


def wandering(random: np.random.Generator) -> Array:
    """Smooth, of unit variance: a level and two slow waves."""
    level, *waves = random.standard_normal(3)
    shapes = (np.cos(np.pi * (number + 1) * WAY / 9.0) for number in range(2))
    total: Array = 0.7 * level + 0.7 * sum(size * shape for size, shape in zip(waves, shapes, strict=True))
    return total


def a_measuring(key: Key, off: Array, *, up: bool = True) -> KeyResult:
    measurements = (a_measurement("bed_contact", "mm", BED_MM), a_measurement("down_weight", "N", 0.5))
    down = 0.5 + off
    return KeyResult(key, 3, measurements, "none", (), a_curve(WAY, down, down - 0.2 if up else None))


def a_sitting(random: np.random.Generator, drift_newton: float, *, again: int = 3) -> tuple[KeyResult, ...]:
    """The naturals, drifting by so much from first to last, settled by check keys that were measured `again` times."""
    rate = drift_newton / (HOURS[-1] - HOURS[0])
    keys = [
        a_measuring(key, SCATTER_NEWTON * wandering(random) + rate * at * by_a_share(WAY))
        for key, at in zip(NATURALS, HOURS.tolist(), strict=True)
    ]
    checked = [
        (3600.0 * at, a_measuring(key, NOISE_NEWTON * wandering(random) + rate * at * by_a_share(WAY)))
        for key in CHECK_KEYS
        for at in np.linspace(HOURS[0], HOURS[-1], again)
    ]
    return settle_curves(keys, HOURS.tolist(), checked)


def slope_along_the_keyboard(keys: tuple[KeyResult, ...], place_mm: float) -> float:
    """N from the first key to the last."""
    forces = forces_on([key.curve for key in keys if key.curve is not None], np.array([place_mm]), "up")[:, 0]
    return float(np.polyfit(HOURS, forces, 1)[0] * (HOURS[-1] - HOURS[0]))


@pytest.mark.parametrize("place_mm", [1.0, 4.0, 8.0])
def test_a_drift_is_taken_out_of_the_curves_by_as_much_as_it_is_there(place_mm: float) -> None:
    keys = a_sitting(np.random.default_rng(1), 0.05)

    assert abs(slope_along_the_keyboard(keys, place_mm)) < 0.005  # 0.031 to 0.069 N before


def test_what_the_slope_leaves_open_acts_with_opposite_sign_on_both_ends_and_not_on_the_mean() -> None:
    keys = a_sitting(np.random.default_rng(2), 0.05)
    curves = [key.curve for key in keys if key.curve is not None]
    left, right, whole = (drift_u_on(some, WAY, "down", 0.95) for some in (curves[:16], curves[-16:], curves))
    first, last = curves[0].drift_left, curves[-1].drift_left

    assert first is not None
    assert last is not None
    assert first.down_newton == pytest.approx(-last.down_newton)
    assert np.all(left > 0.0)
    assert np.mean(left) == pytest.approx(np.mean(right), rel=0.3)
    assert np.max(whole / left) < 0.05


def test_behind_the_first_key_bed_the_drift_is_that_before_it() -> None:
    keys = a_sitting(np.random.default_rng(3), 0.05)
    assert keys[0].curve is not None
    assert keys[0].curve.drift_left is not None
    left = keys[0].curve.drift_left.down_newton

    assert np.all(left[WAY > BED_MM + 0.05] == left[-1])


def test_few_checks_leave_the_curves_as_they_are() -> None:
    keys = a_sitting(np.random.default_rng(4), 0.05, again=1)

    assert all(key.curve is not None and key.curve.drift_left is None for key in keys)


def test_keys_that_were_not_let_up_are_settled_on_the_way_down() -> None:
    checked = [
        (3600.0 * at, a_measuring(CHECK_KEYS[0], 0.1 * at + 0.0 * WAY, up=False)) for at in (-1.0, 0.0, 0.5, 1.0)
    ]
    (key,) = settle_curves([a_measuring(Key(1), 0.1 + 0.0 * WAY)], [1.0], checked)

    assert key.curve is not None
    assert key.curve.down_newton == pytest.approx(0.5)
    assert key.curve.up_newton == pytest.approx(0.4)  # nothing is known of it
    assert key.curve.drift_left is not None
    assert key.curve.drift_left.up_newton is None


def bands_cry_wolf(seed: int) -> bool:
    """Compare two keyboards without a difference, each drifting by about two scatters in its own sitting."""
    random = np.random.default_rng((seed, 9))
    first, second = (
        {key.key.number: key for key in a_sitting(random, 2.0 * SCATTER_NEWTON * random.standard_normal())}
        for _ in range(2)
    )
    settings = ComparisonSettings(band_draws=600, curve_step_mm=0.1)
    bands = curve_bands(first, second, sorted(first), frozenset(), (), 1, settings)
    return any(band.differs_mm for band in bands)


def test_settled_keyboards_without_a_difference_are_told_to_differ_no_more_often_than_stated() -> None:
    """With the drift left in, four of ten were."""
    cried = sum(bands_cry_wolf(seed) for seed in range(10))

    assert binomtest(cried, 10, 0.05, alternative="greater").pvalue > 0.005
