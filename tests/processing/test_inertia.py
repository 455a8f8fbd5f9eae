"""The plunger's acceleration against scipy's filter, sample by sample."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import savgol_filter

from processing.calibrate import calibrate
from processing.inertia import MM_PER_M, OVER_S, motion_of
from tests.builders import Press, SyntheticKey, a_calibration, a_trace, pressed


@settings(max_examples=8, deadline=None)
@given(rate_hz=st.sampled_from([200.0, 1000.0, 5000.0]), seed=st.integers(0, 99))
def test_acceleration_is_that_of_the_filter_of_savitzky_and_golay(rate_hz: float, seed: int) -> None:
    time, way, force = pressed(SyntheticKey(), Press(strokes=1, rate_hz=rate_hz))
    shaken = way + 0.01 * np.random.default_rng(seed).standard_normal(len(way))
    trace = calibrate(a_trace(time, shaken, force), a_calibration())
    motion = motion_of(trace)
    period_s = float(np.median(np.diff(trace.time_s)))
    count = int(OVER_S / period_s) | 1
    by_scipy = savgol_filter(trace.displacement_mm, count, 2, deriv=2, delta=period_s) / MM_PER_M

    assert motion.m_per_s2 == pytest.approx(by_scipy, abs=1e-6 * float(np.abs(by_scipy).max()))
