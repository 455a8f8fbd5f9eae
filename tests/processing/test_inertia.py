"""The plunger's acceleration against scipy's filter over every sample."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import savgol_filter

from processing.calibrate import calibrate
from processing.inertia import MM_PER_M, OVER_S, Motion, motion_of
from processing.stages import FloatArray
from tests.builders import Press, SyntheticKey, a_calibration, a_trace, pressed


def moved(rate_hz: float, seed: int) -> tuple[Motion, FloatArray]:
    """Return the motion of a wobbling plunger, and its acceleration by a parabola through the samples around each."""
    time, way, force = pressed(SyntheticKey(), Press(strokes=1, rate_hz=rate_hz))
    shaken = way + 0.01 * np.sin(40.0 * time) + 0.002 * np.random.default_rng(seed).standard_normal(len(way))
    trace = calibrate(a_trace(time, shaken, force), a_calibration())
    period_s = float(np.median(np.diff(trace.time_s)))
    count = int(OVER_S / period_s) | 1
    by_scipy = savgol_filter(trace.displacement_mm, count, 2, deriv=2, delta=period_s) / MM_PER_M
    motion = motion_of(trace)
    return motion, np.interp(motion.time_s, trace.time_s, by_scipy)


@settings(max_examples=5, deadline=None)
@given(rate_hz=st.sampled_from([200.0, 1000.0]), seed=st.integers(0, 99))
def test_acceleration_is_that_of_the_filter_of_savitzky_and_golay(rate_hz: float, seed: int) -> None:
    motion, by_scipy = moved(rate_hz, seed)

    assert motion.m_per_s2 == pytest.approx(by_scipy, abs=1e-9)


@pytest.mark.parametrize("rate_hz", [2000.0, 5000.0, 10_000.0])
def test_means_of_fast_samples_tell_the_acceleration_as_well_as_the_samples(rate_hz: float) -> None:
    """What a parabola leaves of a wobble of 40 rad/s hangs on its length, which whole means change by up to 4 %; over
    the ends, where one parabola serves for many places, not even scipy's is right."""
    motion, by_scipy = moved(rate_hz, 1)
    inside = slice(30, -30)
    off = motion.m_per_s2[inside] - by_scipy[inside]

    assert np.sqrt(np.mean(off**2)) < 0.04 * np.sqrt(np.mean(by_scipy[inside] ** 2))
    assert motion.noise_m_per_s2 == pytest.approx(0.002 / MM_PER_M * 26.83 / 0.04**2 / np.sqrt(0.04 * rate_hz), rel=0.1)
