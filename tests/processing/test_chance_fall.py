"""The detection of a let-off as a test: noise alone passes for one as seldom as is said, and a real one is found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from benchmarks.letoff_alarms import WAY_MM, Kind, a_plain_key, found, with_noise
from processing.chance_fall import CONFIRM_MM, chance_fall
from processing.landmarks import find_landmarks
from processing.settings import FeatureSettings

SETTINGS = FeatureSettings()
WIDE = Kind(0.3, 0.005)


def test_noise_alone_is_a_letoff_no_more_often_than_is_said() -> None:
    """400 keys at a stated rate of 1 in 20: more than 35 alarms would be chance once in a thousand (binomial)."""
    often = replace(SETTINGS, letoff_false_alarm=0.05)

    assert binom.sf(35, 400, 0.05) < 1e-3
    assert found(a_plain_key(WIDE), 400, often, seed=2) <= 35


def test_without_the_stated_rate_the_same_noise_does_pass_for_letoffs() -> None:
    """Three standard errors alone: what the rate is for."""
    careless = replace(SETTINGS, letoff_false_alarm=0.999)

    assert found(a_plain_key(WIDE), 400, careless, seed=2) > 0


def test_a_letoff_of_twice_the_limit_is_found() -> None:
    limit = find_landmarks(a_plain_key(WIDE), SETTINGS).letoff.limit_newton

    assert found(a_plain_key(WIDE, 2.0 * limit), 100, SETTINGS, seed=3) >= 99


def test_one_pair_of_places_is_a_plain_normal_test() -> None:
    """With room for two places there is one pair: the quantile of the difference of two means, by drawing them."""
    plain = a_plain_key(WIDE, noise_newton=1.0)
    random = np.random.default_rng(4)
    over = round(CONFIRM_MM / plain.step_mm)
    means = [
        np.mean((with_noise(plain, random).down_newton - plain.down_newton)[at : at + over])
        for at in (100, 500)
        for _ in range(2000)
    ]

    assert chance_fall(plain, way_mm=0.1, rate=0.05) == pytest.approx(1.645 * np.sqrt(2.0) * np.std(means), rel=0.05)


@given(rate=st.floats(1e-6, 0.2), way_mm=st.floats(1.0, 8.0))
def test_fewer_alarms_and_more_way_to_search_ask_for_a_deeper_fall(rate: float, way_mm: float) -> None:
    plain = a_plain_key(WIDE)
    limit = chance_fall(plain, way_mm=way_mm, rate=rate)

    assert chance_fall(plain, way_mm=way_mm, rate=rate / 2.0) > limit
    assert chance_fall(plain, way_mm=way_mm + 1.0, rate=rate) > limit


def test_the_limit_is_told_of_keys_without_a_letoff_too() -> None:
    marks = find_landmarks(a_plain_key(Kind(0.12, 0.0)), SETTINGS)

    assert marks.letoff.kind == "none"
    assert marks.letoff.limit_newton == pytest.approx(
        0.006 * chance_fall(a_plain_key(Kind(0.12, 0.0)), way_mm=marks.key_dip_mm / 2.0, rate=1e-3), rel=0.01
    )
    assert WAY_MM[-1] > marks.key_dip_mm
