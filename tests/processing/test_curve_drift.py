"""Drift in the curves over a sitting: told by the check keys' curves, taken out of all, and what that leaves open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest

from processing.comparison.curves import forces_on
from processing.comparison.pair_curves import curve_bands
from processing.comparison.settings import ComparisonSettings
from processing.comparison.shared_curves import drift_u_on
from processing.curve_drift import Measuring, settle_curves
from processing.stages import KeyResult
from recordings.keys import ALL_KEYS, Key
from tests.builders import Array, a_curve
from tests.processing.comparison.keyboards import a_measurement

WAY = np.arange(0.0, 9.0, 0.05)
NATURALS = tuple(key for key in ALL_KEYS if key.colour == "natural")
AT_S = 20.0 * (np.array([key.number for key in NATURALS]) - 44.5)
CHECK_KEYS = (Key(4), Key(23), Key(40), Key(59), Key(76))
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
    """The naturals, drifting by so much from first to last, settled by check keys measured `again` times more."""
    rate = drift_newton / (AT_S[-1] - AT_S[0])
    levels = [SCATTER_NEWTON * wandering(random) for _ in NATURALS]

    def measured(place: int, at_s: float) -> KeyResult:
        noise = NOISE_NEWTON * wandering(random)
        return a_measuring(NATURALS[place], levels[place] + noise + rate * at_s * by_a_share(WAY))

    keys = [measured(place, at_s) for place, at_s in enumerate(AT_S.tolist())]
    places = [place for place, key in enumerate(NATURALS) if key in CHECK_KEYS]
    own = [Measuring(0, float(AT_S[place]), keys[place]) for place in places]
    others = [
        Measuring(number, at_s, measured(place, at_s))
        for number, at_s in enumerate(np.linspace(AT_S[0], AT_S[-1], again).tolist(), 1)
        for place in places
    ]
    return settle_curves(keys, AT_S.tolist(), [*own, *others])


def slope_along_the_keyboard(keys: tuple[KeyResult, ...], place_mm: float) -> float:
    """N from the first key to the last."""
    forces = forces_on([key.curve for key in keys if key.curve is not None], np.array([place_mm]), "up")[:, 0]
    return float(np.polyfit(AT_S, forces, 1)[0] * (AT_S[-1] - AT_S[0]))


@pytest.mark.parametrize("place_mm", [1.0, 4.0, 8.0])
def test_a_drift_is_taken_out_of_the_curves_by_as_much_as_it_is_there(place_mm: float) -> None:
    keys = a_sitting(np.random.default_rng(1), 0.05)

    assert abs(slope_along_the_keyboard(keys, place_mm)) < 0.005  # 0.031 to 0.069 N before


def test_what_is_left_open_acts_by_the_hours_between_and_as_much_again_on_all_keys() -> None:
    keys = a_sitting(np.random.default_rng(2), 0.05)
    curves = [key.curve for key in keys if key.curve is not None]
    left = np.array([curve.drift_left.down_newton[:, 80] for curve in curves if curve.drift_left is not None])
    (slope, whole), unexplained, *_ = np.polyfit(AT_S, left, 1, full=True)
    at_left, at_right, over_all = (
        np.mean(drift_u_on(some, WAY, "down", 0.95)) for some in (curves[:16], curves[-16:], curves)
    )

    assert left.shape == (len(NATURALS), 3)  # slope and whole in two parts, and what recordings differ by
    assert unexplained == pytest.approx(0.0, abs=1e-12)
    assert np.any(slope != 0.0)
    assert np.any(whole != 0.0)
    assert slope[-1] == pytest.approx(0.0, abs=1e-12)
    assert over_all < min(at_left, at_right)  # the slope acts against itself


def test_behind_the_first_key_bed_the_drift_is_that_before_it() -> None:
    keys = a_sitting(np.random.default_rng(3), 0.05)
    assert keys[0].curve is not None
    assert keys[0].curve.drift_left is not None
    left = keys[0].curve.drift_left.down_newton

    behind = left[:, WAY > BED_MM + 0.05]
    assert np.all(behind == behind[:, -1:])


def test_a_bend_of_one_way_alone_is_left_open_with_its_own_parts_and_degrees_of_freedom() -> None:
    """Flat on the way down, a parabola of two hundredths of a newton on the way up."""
    random = np.random.default_rng(5)

    def measured(key: Key, at_s: float) -> KeyResult:
        noise = [0.0003 * random.standard_normal() for _ in range(2)]
        down = np.full(len(WAY), 0.5 + noise[0])
        up = np.full(len(WAY), 0.3 + noise[1] + 0.02 * (at_s / AT_S[-1]) ** 2)
        plain = a_measuring(key, 0.0 * WAY)
        return replace(plain, curve=a_curve(WAY, down, up))

    keys = [measured(key, at_s) for key, at_s in zip(NATURALS, AT_S.tolist(), strict=True)]
    own = [Measuring(0, float(at_s), key) for key, at_s in zip(keys, AT_S, strict=True) if key.key in CHECK_KEYS]
    again = [
        Measuring(number, at_s, measured(key, at_s))
        for number, at_s in enumerate((AT_S[0] - 60.0, 0.0, AT_S[-1] + 60.0), 1)
        for key in CHECK_KEYS
    ]
    curves = [key.curve for key in settle_curves(keys, AT_S.tolist(), [*own, *again]) if key.curve is not None]
    left = curves[0].drift_left

    assert left is not None
    assert left.up_newton is not None
    assert left.up_dofs is not None
    assert (len(left.down_newton), len(left.down_dofs)) == (3, 3)
    assert (len(left.up_newton), len(left.up_dofs)) == (4, 4)
    assert all(np.all(drift_u_on(curves, WAY, branch, 0.95) > 0.0) for branch in ("down", "up"))


def test_few_checks_leave_the_curves_as_they_are() -> None:
    keys = a_sitting(np.random.default_rng(4), 0.05, again=0)

    assert all(key.curve is not None and key.curve.drift_left is None for key in keys)


def test_keys_that_were_not_let_up_are_settled_on_the_way_down() -> None:
    checked = [
        Measuring(number, 3600.0 * at, a_measuring(CHECK_KEYS[0], 0.1 * at + 0.0 * WAY, up=False))
        for number, at in enumerate((-1.0, 0.0, 0.5, 1.0))
    ]
    _, key = settle_curves([a_measuring(Key(number), 0.1 + 0.0 * WAY) for number in (1, 2)], [-3600.0, 3600.0], checked)

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
