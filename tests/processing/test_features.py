"""Every number on curves whose answer is known by construction: definitions of measurands.md, closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.errors import FeatureNotFound
from processing.features.read_off import NotePlaces, ReadOff
from processing.features.table import FEATURES
from processing.landmarks import find_landmarks
from processing.settings import FeatureSettings
from processing.stages import Curve
from tests.builders import SyntheticKey, a_curve

X = np.arange(0.0, 10.4, 0.01)
SETTINGS = FeatureSettings()
KEY = SyntheticKey()
MEASURE = {feature.name: feature.measure for feature in FEATURES}
NO_NOTES = NotePlaces(None, None, None, "no note events were recorded")


def curve_of(key: SyntheticKey) -> Curve:
    """The key as it is: not smoothed, so there is next to no kernel that has moved its peak."""
    return replace(a_curve(X, key.force_down(X), key.force_up(X)), half_width_mm=0.01)


def read(curve: Curve, notes: NotePlaces = NO_NOTES) -> ReadOff:
    return ReadOff(curve, find_landmarks(curve, SETTINGS), notes, SETTINGS)


def value(name: str, curve: Curve, notes: NotePlaces = NO_NOTES) -> float:
    return MEASURE[name](read(curve, notes))


@pytest.mark.parametrize(
    ("name", "expected", "within"),
    [
        pytest.param("key_dip", KEY.key_dip, 1e-6, id="key_dip: where the straight bed reaches 3 N"),
        pytest.param("bed_contact", 9.5 + 0.1 / 6.0, 0.002, id="bed_contact: 0.10 N up the straight bed"),
        pytest.param("aftertouch", KEY.key_dip - 8.0, 0.005, id="aftertouch: dip less peak"),
        pytest.param("letoff_peak_position", 8.0, 0.005, id="letoff_peak_position: the crest"),
        pytest.param("letoff_peak_force", 0.65, 1e-6, id="letoff_peak_force: plateau + ridge"),
        pytest.param("letoff_rise", 0.15, 1e-6, id="letoff_rise: the ridge"),
        pytest.param("letoff_drop", 0.15, 1e-6, id="letoff_drop: the ridge"),
        pytest.param("letoff_ratio", 0.15 / 0.65, 1e-6, id="letoff_ratio: (Fmax - Fmin) / Fmax"),
        pytest.param("letoff_onset_position", 8.0 - np.arccos(-0.8) / np.pi, 0.002, id="onset: 10 % of a cosine"),
        pytest.param("letoff_end_position", 8.0 + 0.5 * np.arccos(-0.8) / np.pi, 0.002, id="end: 90 % of the drop"),
        pytest.param("letoff_slope", 0.15 * np.pi / (2 * 0.5), 0.003, id="slope: H pi / (2 w)"),
        pytest.param("letoff_work", 0.15 * 1.5 / 2, 0.003, id="work: half of height times width, less the tails"),
        pytest.param("down_weight", 0.50, 1e-6, id="down_weight: the plateau"),
        pytest.param("up_weight", 0.28, 1e-6, id="up_weight: the plateau"),
        pytest.param("balance_weight", 0.39, 1e-6, id="balance_weight: (D + U) / 2"),
        pytest.param("friction", 0.11, 1e-6, id="friction: (D - U) / 2"),
        pytest.param("weight_to_letoff", 0.515, 0.001, id="weight_to_letoff: plateau + 10 % of the rise"),
        pytest.param("lift_weight", 0.28, 1e-6, id="lift_weight: the lowest of the way up"),
        pytest.param("breakaway", 0.0, 1e-9, id="breakaway: none"),
        pytest.param("loop_work", 0.22 * (9.5 + 0.1 / 6) + 0.15 * 0.75, 0.002, id="loop_work: 2 friction way + ridge"),
    ],
)
def test_a_number_is_what_the_key_was_made_of(name: str, expected: float, within: float) -> None:
    assert value(name, curve_of(KEY)) == pytest.approx(expected, abs=within)


def test_the_tactile_ratio_of_070_and_050_is_0286() -> None:
    """Identity of the membrane-switch standards (ASTM F1570 and successors; formula from memory)."""
    key = SyntheticKey(down=0.50, peak_rise=0.20)

    assert value("letoff_ratio", curve_of(key)) == pytest.approx(0.286, abs=0.0005)


def test_the_trade_reads_52_and_28_as_balance_40_and_friction_12() -> None:
    """Common practice: D 52 gf, U 28 gf."""
    gf = 0.00980665
    curve = curve_of(SyntheticKey(down=52 * gf, up=28 * gf))

    assert value("balance_weight", curve) / gf == pytest.approx(40.0)
    assert value("friction", curve) / gf == pytest.approx(12.0)


def test_more_friction_leaves_the_balance_weight_alone() -> None:
    """Common practice: friction adds to D what it takes from U."""
    rough = curve_of(replace(KEY, down=KEY.down + 0.05, up=KEY.up - 0.05))

    assert value("balance_weight", rough) == pytest.approx(value("balance_weight", curve_of(KEY)))
    assert value("friction", rough) == pytest.approx(value("friction", curve_of(KEY)) + 0.05)


def test_pre_travel_and_over_travel_make_the_whole() -> None:
    """DIN 41636 vocabulary: pre-travel + over-travel = total travel; here peak + aftertouch = key dip."""
    curve = curve_of(KEY)

    assert value("letoff_peak_position", curve) + value("aftertouch", curve) == pytest.approx(value("key_dip", curve))


def test_the_work_of_a_spring_is_k_x_squared_over_two() -> None:
    spring = a_curve(X, 0.4 * X, 0.4 * X)
    marks = replace(find_landmarks(curve_of(KEY), SETTINGS), bed_contact_mm=7.5)
    key = ReadOff(spring, marks, NO_NOTES, SETTINGS)

    assert MEASURE["press_work"](key) == pytest.approx(0.4 * 7.5**2 / 2, rel=1e-6)
    assert MEASURE["loop_work"](key) == pytest.approx(0.0, abs=1e-12)


def test_felt_of_a_power_law_has_its_closed_form_work() -> None:
    """W = K d^(p+1) / (p+1); a steeper way back from the same peak loses 1 - (p+1)/(q+1) = 31.1 % (p 2.1, q 3.5)."""
    depth = 1.0
    x = np.arange(0.0, depth + 1e-9, 0.001)
    felt = a_curve(x, 12.0 * x**2.1, 12.0 * x**3.5)
    marks = replace(find_landmarks(curve_of(KEY), SETTINGS), bed_contact_mm=depth)
    key = ReadOff(felt, marks, NO_NOTES, SETTINGS)

    assert MEASURE["press_work"](key) == pytest.approx(12.0 / 3.1, rel=1e-5)
    assert MEASURE["loop_work"](key) / MEASURE["press_work"](key) == pytest.approx(1.0 - 3.1 / 4.5, rel=1e-5)


def test_a_key_without_a_ridge_has_no_letoff_and_names_the_limit() -> None:
    curve = curve_of(replace(KEY, peak_rise=0.0))

    assert find_landmarks(curve, SETTINGS).letoff.kind == "none"
    with pytest.raises(FeatureNotFound, match=r"0\.020 N"):
        value("letoff_peak_position", curve)


def test_a_faint_letoff_of_5_gf_is_found() -> None:
    assert find_landmarks(curve_of(replace(KEY, peak_rise=0.05)), SETTINGS).letoff.kind == "found"


def test_a_rise_without_a_fall_is_a_shoulder() -> None:
    """The rise is reported, the drop is 0."""
    rise = 0.15 * 0.5 * (1.0 - np.cos(np.pi * np.clip(X - 7.0, 0.0, 1.0)))
    curve = a_curve(X, KEY.down + rise + KEY.bed(X), KEY.force_up(X))

    assert find_landmarks(curve, SETTINGS).letoff.kind == "shoulder"
    assert value("letoff_rise", curve) == pytest.approx(0.15, abs=0.005)
    assert value("letoff_drop", curve) == 0.0
    with pytest.raises(FeatureNotFound, match="shoulder"):
        value("letoff_peak_position", curve)


def with_step(key: SyntheticKey, at_mm: float, height: float, width: float = 0.6) -> Curve:
    ramp = height * 0.5 * (1.0 - np.cos(np.pi * np.clip((X - at_mm + width / 2) / width, 0.0, 1.0)))
    return a_curve(X, key.force_down(X) + ramp, key.force_up(X) + ramp)


def test_a_step_on_both_ways_is_the_damper_and_no_letoff() -> None:
    curve = with_step(replace(KEY, peak_rise=0.0), 4.5, 0.20)
    marks = find_landmarks(curve, SETTINGS)

    assert marks.letoff.kind == "none"
    assert value("damper_position", curve) == pytest.approx(4.5, abs=0.01)
    assert value("damper_step", curve) == pytest.approx(0.20, abs=0.002)


def test_a_step_on_one_way_only_is_no_damper() -> None:
    curve = with_step(KEY, 4.5, 0.20)
    one_way = a_curve(X, curve.down_newton.copy(), KEY.force_up(X))

    with pytest.raises(FeatureNotFound):
        value("damper_position", one_way)


def test_the_weights_are_taken_before_the_damper() -> None:
    curve = with_step(KEY, 4.5, 0.20)

    assert value("down_weight", curve) == pytest.approx(0.50, abs=1e-4)


def test_a_window_too_narrow_gives_no_weight_and_says_why() -> None:
    curve = with_step(KEY, 3.0, 0.20)

    with pytest.raises(FeatureNotFound, match="no place for a weight"):
        value("down_weight", curve)


def test_a_break_away_peak_is_measured_and_is_no_letoff() -> None:
    peak = 0.1 * np.exp(-(((X - 0.3) / 0.1) ** 2))
    curve = a_curve(X, replace(KEY, peak_rise=0.0).force_down(X) + peak, KEY.force_up(X))

    assert find_landmarks(curve, SETTINGS).letoff.kind == "none"
    assert value("breakaway", curve) == pytest.approx(0.1, abs=1e-3)


def test_strokes_that_stop_before_the_bed_force_have_no_dip() -> None:
    soft = replace(KEY, bed_newton_per_mm=1.0)

    with pytest.raises(FeatureNotFound, match="before the 3 N"):
        find_landmarks(curve_of(soft), SETTINGS)


def test_without_a_way_up_the_up_weight_is_missing_and_the_down_weight_is_not() -> None:
    curve = a_curve(X, KEY.force_down(X))

    assert value("down_weight", curve) == pytest.approx(0.50)
    with pytest.raises(FeatureNotFound, match="not let up"):
        value("up_weight", curve)


def test_the_weight_to_the_note_includes_the_notch_only_if_the_note_comes_after_it() -> None:
    before = NotePlaces(6.0, 5.0, 4.0, "")
    after = NotePlaces(8.8, 5.0, 4.0, "")

    assert value("weight_to_note", curve_of(KEY), before) == pytest.approx(0.50, abs=1e-6)
    assert value("weight_to_note", curve_of(KEY), after) == pytest.approx(0.65, abs=1e-6)
    assert value("trigger_margin", curve_of(KEY), after) == pytest.approx(0.8, abs=0.005)
    assert value("release_height", curve_of(KEY), after) == pytest.approx(KEY.key_dip - 5.0)


POSITIONS = ("letoff_peak_position", "letoff_onset_position", "letoff_end_position")


@settings(max_examples=30, deadline=None)
@given(peak=st.floats(6.5, 8.8), rise=st.floats(0.06, 0.3), width=st.floats(0.5, 1.4))
def test_a_letoff_is_found_wherever_and_however_high_it_is(peak: float, rise: float, width: float) -> None:
    key = SyntheticKey(peak_mm=peak, peak_rise=rise, rise_mm=width, fall_mm=0.4)
    curve = curve_of(key)

    assert value("letoff_peak_position", curve) == pytest.approx(peak, abs=0.01)
    assert value("letoff_drop", curve) == pytest.approx(rise, abs=0.003)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.8, 1.25))
def test_scaling_the_force_scales_the_weights_and_leaves_places(factor: float) -> None:
    plain = curve_of(KEY)
    scaled = replace(plain, down_newton=factor * KEY.force_down(X), up_newton=factor * KEY.force_up(X))

    for name in ("down_weight", "up_weight", "friction", "letoff_rise", "letoff_drop"):
        assert value(name, scaled) == pytest.approx(factor * value(name, plain), rel=1e-6)
    for name in POSITIONS:
        assert value(name, scaled) == pytest.approx(value(name, plain), abs=0.001)
