"""The overlapping Allan deviation against NIST SP 1065 and closed forms."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.fitness.allan import allan_deviation, overlapping_allan

TRUTHS = Path(__file__).parents[1] / "truths" / "allan"
PUBLISHED = json.loads((TRUTHS / "published.json").read_text())
SET_OF_1000 = np.loadtxt(TRUTHS / "nbs14_1000_freq.csv", skiprows=1)
LENGTHS = np.array([1, 2, 5, 10, 100])


def test_the_data_set_is_the_one_that_the_standard_generates() -> None:
    """SP 1065: n[i+1] = 16807 n[i] mod 2147483647 from 1234567890, divided by the modulus."""
    n, made = 1234567890, []
    for _ in range(1000):
        made.append(n / 2147483647)
        n = 16807 * n % 2147483647

    assert pytest.approx(np.array(made), rel=1e-12) == SET_OF_1000


@pytest.mark.parametrize(("place", "length"), [(0, 1), (1, 10), (2, 100)])
def test_1000_points_have_the_published_deviation(place: int, length: int) -> None:
    """SP 1065, table of the 1000-point set, printed with 7 digits."""
    found = overlapping_allan(SET_OF_1000, np.array([length]))[0]

    assert found == pytest.approx(PUBLISHED["set1000_tau_1_10_100"]["OADEV"][place], rel=1e-6)


def test_9_points_have_the_published_deviation() -> None:
    """SP 1065, table of the 9-point set."""
    found = overlapping_allan(np.array(PUBLISHED["set9"]["freq"], float), np.array([1, 2]))

    assert found == pytest.approx(np.array(PUBLISHED["set9"]["OADEV"]), rel=1e-6)


def test_white_noise_falls_with_the_root_of_the_time() -> None:
    """sigma / sqrt(m); 200 000 samples know it to 2 % at m = 100."""
    noise = np.random.default_rng(1).standard_normal(200_000)

    assert overlapping_allan(noise, LENGTHS) == pytest.approx(1.0 / np.sqrt(LENGTHS), rel=0.03)


def test_a_random_walk_rises_with_the_root_of_the_time() -> None:
    """Of steps with standard deviation 1: sqrt((2 m^2 + 1) / (6 m)), the variance of the difference of two means."""
    walk = np.cumsum(np.random.default_rng(2).standard_normal(200_000))

    assert overlapping_allan(walk, LENGTHS) == pytest.approx(np.sqrt((2 * LENGTHS**2 + 1) / (6 * LENGTHS)), rel=0.05)


@given(slope=st.floats(-10.0, 10.0), offset=st.floats(-100.0, 100.0))
def test_a_straight_line_has_its_slope_times_the_time_over_root_two(slope: float, offset: float) -> None:
    line = offset + slope * np.arange(500.0)

    assert overlapping_allan(line, LENGTHS) == pytest.approx(abs(slope) * LENGTHS / np.sqrt(2.0), rel=1e-6, abs=1e-9)


@settings(max_examples=20)
@given(gain=st.floats(0.01, 100.0), offset=st.floats(-100.0, 100.0), seed=st.integers(0, 99))
def test_it_follows_the_gain_and_not_the_offset(gain: float, offset: float, seed: int) -> None:
    noise = np.random.default_rng(seed).standard_normal(300)

    assert overlapping_allan(offset + gain * noise, LENGTHS) == pytest.approx(
        gain * overlapping_allan(noise, LENGTHS), rel=1e-6, abs=1e-9
    )


def test_the_lowest_deviation_lies_where_walk_and_noise_cross() -> None:
    """sigma^2 / m + s^2 m / 3 is lowest at m = sqrt(3) sigma / s = 173 samples, and is sqrt(2 sigma s / sqrt(3))."""
    random = np.random.default_rng(3)
    signal = random.standard_normal(400_000) + np.cumsum(0.01 * random.standard_normal(400_000))
    lowest, tau_s = allan_deviation(signal, rate_hz=1000.0).lowest()

    assert lowest == pytest.approx(np.sqrt(0.02 / np.sqrt(3.0)), rel=0.05)
    assert tau_s == pytest.approx(0.173, rel=0.5)  # the bottom is flat
