"""The law of velocity over speed against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.dynamics.response import Response, law_of, response_of, speed_for
from tests.builders import Array
from tests.processing.ladders import KNOBS, ON_MM, SPEEDS, Ramp, a_press

LADDER = np.array([4.0, 8.0, 16.0, 32.0, 64.0, 128.0])


def law(velocity: Array, speed: Array = LADDER) -> Response:
    found = law_of(speed, np.asarray(velocity, float), KNOBS)
    assert found is not None
    return found


def max_min(values: Array, weights: Array) -> Array:
    """The isotonic fit in closed form: max over j <= i of min over k >= i of the weighted mean from j to k.

    Source: Robertson, Wright & Dykstra, Order Restricted Statistical Inference (1988), theorem 1.4.4 (from memory).
    """
    count = len(values)
    mean = {
        (j, k): float(np.average(values[j : k + 1], weights=weights[j : k + 1]))
        for j in range(count)
        for k in range(j, count)
    }
    return np.array([max(min(mean[j, k] for k in range(i, count)) for j in range(i + 1)) for i in range(count)])


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(1, 127), min_size=6, max_size=6))
def test_the_law_never_falls_and_is_the_nearest_such_law(velocities: list[int]) -> None:
    found = law(np.array(velocities, float))

    assert np.all(np.diff(found.law_velocity) >= 0.0)
    np.testing.assert_allclose(found.law_velocity, max_min(np.array(velocities, float), np.ones(6)), atol=1e-9)


@pytest.mark.parametrize("velocity", [16.0, 64.0, 100.0])
def test_a_logarithmic_law_is_read_backwards_exactly(velocity: float) -> None:
    """v = 20 log2(s / 4): straight over the logarithm, so the speed for v is 4 * 2^(v / 20)."""
    found = speed_for(velocity, law(20.0 * np.log2(LADDER / 4.0)), seed=1, widest_step=3.0)

    assert found is not None
    assert found.mm_per_s == pytest.approx(4.0 * 2.0 ** (velocity / 20.0))


def test_the_bound_for_bending_is_the_distance_to_the_straight_law() -> None:
    """Half way between two speeds of ratio 2: geometric mean sqrt(2), arithmetic mean 1.5."""
    found = speed_for(50.0, law(np.array([0.0, 20.0, 40.0, 60.0, 80.0, 100.0])), seed=1, widest_step=3.0)

    assert found is not None
    assert found.mm_per_s == pytest.approx(16.0 * 2.0**0.5)
    assert found.bend_bound_mm_per_s == pytest.approx(16.0 * (1.5 - 2.0**0.5))


def test_over_a_wide_step_all_of_it_is_the_bound() -> None:
    """From 4 to 36 mm/s half the rise lies at 12 mm/s over the logarithm: 24 mm/s short of the faster one."""
    found = speed_for(20.0, law(np.array([0.0, 40.0]), np.array([4.0, 36.0])), seed=1, widest_step=3.0)

    assert found is not None
    assert found.mm_per_s == pytest.approx(12.0)
    assert found.bend_bound_mm_per_s == pytest.approx(24.0)


@pytest.mark.parametrize("velocity", [0.5, 127.0])
def test_a_velocity_that_was_not_reached_has_no_speed(velocity: float) -> None:
    assert speed_for(velocity, law(np.array([1.0, 20.0, 40.0, 60.0, 80.0, 100.0])), seed=1, widest_step=3.0) is None


def test_repeatability_is_the_pooled_standard_deviation() -> None:
    """Two speeds, deviations of 1 and 3 about their means: sqrt((2 * 1 + 2 * 9) / 2) (GUM H.3.6)."""
    found = law(np.array([10.0, 12.0, 40.0, 46.0]), np.array([4.0, 4.0, 40.0, 40.0]))

    assert found.scatter == pytest.approx(np.sqrt((2.0 + 18.0) / 2.0))
    assert found.scatter_dof == 2


def test_fractions_of_a_velocity_are_not_rounded() -> None:
    assert law(LADDER + 0.5).rounding_u == 0.0
    assert law(LADDER).rounding_u == pytest.approx(1.0 / np.sqrt(12.0))


def test_the_speed_of_a_stroke_is_that_of_its_last_millimetre() -> None:
    """At even speed it is that; braking from 100 mm/s at 5000 mm/s2 over x it is x / t with v^2 = v0^2 - 2 a x."""
    presses = [a_press(Ramp(speed=speed, acceleration=5000.0), velocity=speed) for speed in SPEEDS]
    found = response_of(presses, ON_MM, KNOBS)
    ends = np.sqrt(2.0 * 5000.0 * (9.6 - ON_MM))
    braking_s, even_s = (100.0 - ends) / 5000.0, (9.6 - 1.0 - (ON_MM - 1.0)) / 100.0

    assert found is not None
    np.testing.assert_allclose(found.speed_mm_per_s[:5], SPEEDS[:5], rtol=1e-3)
    assert found.speed_mm_per_s[5] == pytest.approx(1.0 / (braking_s + even_s), rel=1e-3)


def test_strokes_of_one_speed_are_no_law() -> None:
    assert law_of(np.array([4.0, 4.1, 4.2]), np.array([5.0, 5.0, 6.0]), KNOBS) is None
