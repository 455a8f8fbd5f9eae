"""Noise density and mains lines against white noise of known density and sines of known amplitude."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.errors import NotTried
from processing.fitness.settings import FitnessSettings
from processing.fitness.spectrum import mains_lines, noise_density
from tests.processing.trials import Array, seconds, white

SETTINGS = FitnessSettings()


def a_sine(amplitude: float, hz: float, *, count: int = 10_000, rate_hz: float = 1000.0, phase: float = 0.3) -> Array:
    return amplitude * np.sin(2.0 * np.pi * hz * seconds(count, rate_hz) + phase)


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0, 4800.0])
@pytest.mark.parametrize("rest_s", [2.0, 20.0])
def test_white_noise_has_its_density(rate_hz: float, rest_s: float) -> None:
    """One-sided, S = sigma sqrt(2 / rate); the mean over 40 seeds of 40 bins or more is known to 1 %."""
    count = round(rest_s * rate_hz)
    found = [noise_density(white(count, 0.003, seed), rate_hz, SETTINGS)[0] for seed in range(40)]

    assert np.mean(found) == pytest.approx(0.003 * np.sqrt(2.0 / rate_hz), rel=0.03)


def test_hum_and_drift_do_not_lift_the_density() -> None:
    quiet = white(20_000)
    loud = quiet + sum(a_sine(0.05, hz, count=20_000) for hz in (50.0, 100.0, 150.0)) + 0.01 * seconds(20_000)

    assert noise_density(loud, 1000.0, SETTINGS)[0] == pytest.approx(noise_density(quiet, 1000.0, SETTINGS)[0], rel=0.1)


def test_a_slow_sampler_leaves_no_band() -> None:
    with pytest.raises(NotTried, match="no band"):
        noise_density(white(1000), 10.0, SETTINGS)


@settings(max_examples=30)
@given(
    amplitude=st.floats(0.001, 0.1),
    mains_hz=st.sampled_from([50.0, 60.0]),
    off_hz=st.floats(-0.3, 0.3),
    phase=st.floats(0.0, 6.0),
)
def test_a_sine_in_noise_has_its_amplitude_and_frequency(
    amplitude: float, mains_hz: float, off_hz: float, phase: float
) -> None:
    """The amplitude of a fitted sine has u = sigma sqrt(2 / N) = 0.04 mN here; the search loses 0.2 % at most."""
    signal = white(10_000) + a_sine(amplitude, mains_hz + off_hz, phase=phase) + 0.05
    line = mains_lines(signal, 1000.0, mains_hz, SETTINGS)[0]

    assert line.real
    assert line.amplitude == pytest.approx(amplitude, rel=0.005, abs=4 * 0.00005)
    assert line.frequency_hz == pytest.approx(mains_hz + off_hz, abs=0.03)


def test_multiples_are_found_each_with_its_own_amplitude() -> None:
    signal = white(10_000) + a_sine(0.010, 50.0) + a_sine(0.004, 150.0)
    lines = mains_lines(signal, 1000.0, 50.0, SETTINGS)

    assert [line.real for line in lines] == [True, False, True, False, False]
    assert lines[2].amplitude == pytest.approx(0.004, abs=0.0002)


def test_noise_alone_is_no_hum() -> None:
    """Ten lines at a chance of 1e-4 each: none in 100 rests with a probability of 0.9."""
    found = [
        line.real
        for seed in range(100)
        for hz in (50.0, 60.0)
        for line in mains_lines(white(4000, seed=seed), 1000.0, hz, SETTINGS)
    ]

    assert sum(found) <= 1


def test_a_line_at_the_detection_limit_stands_out_of_its_noise_by_what_chance_demands() -> None:
    """sigma sqrt(4 ln(tries / p) / N) for white noise: 0.26 mN for 3 mN, 10 000 samples, 160 tries, 1e-4."""
    limits = [mains_lines(white(10_000, seed=seed), 1000.0, 50.0, SETTINGS)[0].detection_limit for seed in range(20)]

    assert np.mean(limits) == pytest.approx(0.003 * np.sqrt(4.0 * np.log(160 / 1e-4) / 10_000), rel=0.05)
