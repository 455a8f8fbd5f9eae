"""Laws that the whole analysis obeys, whatever the key: what is done to the samples must be done to the numbers.

Exact laws (shifts) are held to rounding; the others to the uncertainties that the numbers state themselves.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keyplumb.__main__ import main
from processing.features.table import FEATURES
from processing.pipeline import analyse, analyse_key
from processing.settings import Settings
from processing.stages import KeyResult, Measurement
from recordings.reader import open_recording
from recordings.types import KeyRecording, RawEvents
from tests.builders import C4, QUICK, Array, Press, SyntheticKey, a_calibration, a_trace, pressed

KEYS = st.builds(
    SyntheticKey,
    down=st.floats(0.4, 0.7),
    up=st.floats(0.15, 0.35),
    peak_rise=st.sampled_from([0.0, 0.08, 0.15, 0.3]),
    rise_mm=st.floats(0.8, 1.3),
    fall_mm=st.floats(0.4, 0.6),
)
UNIT = {feature.name: feature.unit for feature in FEATURES}
STATIC = [name for name, unit in UNIT.items() if unit in ("N", "mm", "mJ", "N/mm", "1")]


def result_of(time: Array, way: Array, force: Array, chosen: Settings = QUICK) -> KeyResult:
    return analyse_key(KeyRecording(C4, a_trace(time, way, force), RawEvents.none()), a_calibration(), chosen)


def numbers(result: KeyResult) -> dict[str, Measurement]:
    return {name: result[name] for name in STATIC if result[name].value is not None}


def agree(one: KeyResult, other: KeyResult, *, share: float = 2.0) -> None:
    """Assert that both have the same numbers, within so many of both uncertainties together."""
    ones, others = numbers(one), numbers(other)
    assert ones.keys() == others.keys()
    for name, measured in ones.items():
        between = abs(measured.value - others[name].value)
        assert between <= share * np.hypot(measured.expanded, others[name].expanded), name


@settings(max_examples=12)
@given(key=KEYS, place=st.integers(-15_000, 15_000), zero=st.integers(-200_000, 200_000), seed=st.integers(0, 99))
def test_moving_the_zeros_of_gauge_and_cell_changes_no_number(key, place, zero, seed):
    """Whole counts (1 nm, 1 uN) are added, so nothing is rounded anew."""
    time, way, force = pressed(key, Press(seed=seed))
    plain = a_trace(time, way, force)
    moved = replace(
        plain,
        force_counts=plain.force_counts + np.int32(zero),
        displacement_counts=plain.displacement_counts + np.int32(1000 * place),
    )

    one, other = (
        analyse_key(KeyRecording(C4, trace, RawEvents.none()), a_calibration(), QUICK) for trace in (plain, moved)
    )

    assert numbers(one).keys() == numbers(other).keys()
    for name, measured in numbers(one).items():
        assert other[name].value == pytest.approx(measured.value, rel=1e-6, abs=1e-7), name


@settings(max_examples=12)
@given(key=KEYS, factor=st.floats(0.7, 1.6), seed=st.integers(0, 99))
def test_scaling_the_force_scales_forces_and_works_and_leaves_places(key, factor, seed):
    """The thresholds of the definitions are forces, so they are scaled too."""
    time, way, force = pressed(key, Press(seed=seed))
    scaled = replace(
        QUICK,
        stroke=replace(
            QUICK.stroke,
            touch_newton=factor * QUICK.stroke.touch_newton,
            level_differs_newton=factor * QUICK.stroke.level_differs_newton,
        ),
        feature=replace(
            QUICK.feature,
            bed_newton=factor * QUICK.feature.bed_newton,
            contact_rise_newton=factor * QUICK.feature.contact_rise_newton,
            least_letoff_newton=factor * QUICK.feature.least_letoff_newton,
        ),
    )

    plain, more = result_of(time, way, force), result_of(time, way, factor * force, scaled)

    assert numbers(plain).keys() == numbers(more).keys()
    for name, measured in numbers(plain).items():
        times = factor if UNIT[name] in ("N", "mJ", "N/mm") else 1.0
        assert more[name].value == pytest.approx(times * measured.value, abs=0.3 * measured.expanded), name


@settings(max_examples=8)
@given(key=KEYS, rests=st.integers(1, 4000), seed=st.integers(0, 99))
def test_a_longer_rest_before_between_and_after_changes_nothing_beyond_the_uncertainty(key, rests, seed):
    time, way, force = pressed(key, Press(seed=seed))
    random = np.random.default_rng(seed)
    period = time[1] - time[0]
    rest_way = np.full(rests, way[0])
    rest_force = force[:50].mean() + 0.002 * random.standard_normal((2, rests))
    longer_way = np.concatenate([rest_way, way, rest_way])
    longer_force = np.concatenate([rest_force[0], force, rest_force[1]])

    agree(result_of(time, way, force), result_of(np.arange(len(longer_way)) * period, longer_way, longer_force))


@settings(max_examples=8)
@given(key=KEYS, rate_hz=st.sampled_from([250.0, 500.0, 2000.0, 5000.0]), seed=st.integers(0, 99))
def test_sampling_at_another_rate_changes_nothing_beyond_the_uncertainty(key, rate_hz, seed):
    one, other = (result_of(*pressed(key, Press(rate_hz=rate, seed=seed))) for rate in (1000.0, rate_hz))

    agree(one, other)


@settings(max_examples=8)
@given(key=KEYS, speed=st.floats(1.5, 4.9), seed=st.integers(0, 99))
def test_pressing_slower_or_faster_within_slow_changes_nothing_beyond_the_uncertainty(key, speed, seed):
    """The key of these tests has no mass and no viscosity, so speed has nothing to say."""
    one, other = (result_of(*pressed(key, Press(speed=mm_per_s, seed=seed))) for mm_per_s in (4.0, speed))

    agree(one, other)


def test_inches_and_gram_force_give_the_numbers_of_millimetres_and_newtons(tmp_path: Path):
    """25.4 mm by the international inch of 1959; 9.80665 mN by the 3rd CGPM, 1901."""
    time, way, force = pressed(SyntheticKey(), Press())
    tables = {
        "si": ("displacement_mm,force_N", way, force),
        "inch": ("displacement_in,force_gf", way / 25.4, force / 0.00980665),
    }
    results = {}
    for name, (head, ways, forces) in tables.items():
        rows = "".join(f"{t:.6f},{x:.9f},{f:.9f}\n" for t, x, f in zip(time, ways, forces, strict=True))
        (tmp_path / f"{name}.csv").write_text(f"time_s,{head}\n{rows}")
        words = ["import", f"{tmp_path / name}.csv", "--key", "C4", "--out", f"{tmp_path / name}.h5"]
        assert main(words) == 0
        with open_recording(tmp_path / f"{name}.h5") as opened:
            results[name] = analyse(opened.header, opened.read_keys(), QUICK).keys[0]

    assert numbers(results["si"]).keys() == numbers(results["inch"]).keys()
    for name, measured in numbers(results["si"]).items():
        assert results["inch"][name].value == pytest.approx(measured.value, rel=1e-4, abs=2e-5), name
