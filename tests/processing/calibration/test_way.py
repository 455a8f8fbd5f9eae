"""Displacement, give, skew and contact point: against closed forms, the standard's table and simulated truths."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student_t

from processing.calibration.compliance import Compliance, StopPress, find_compliance, give_mm
from processing.calibration.contact_point import ContactPoint, force_at_contact_per_edge, travel_at_contact_per_edge
from processing.calibration.displacement_steps import (
    BlockReading,
    Direction,
    DisplacementCalibration,
    GaugeBlock,
    block_of_grade,
    calibrate_displacement,
)
from processing.calibration.errors import OutsideRange, TooFewReadings, UnknownReference
from processing.calibration.settings import ComplianceSettings, DisplacementSettings
from processing.calibration.skew import Loop, find_skew, loop_of

TRUTHS = Path(__file__).parents[2] / "truths" / "calibration"
PERFECT_BENCH = DisplacementSettings(alignment_limit_deg=0.0, temperature_limit_c=0.0)
LENGTHS = (2.0, 5.0, 10.0, 20.0)
BOTH: tuple[Direction, Direction] = ("down", "up")


# gauge blocks


def block_readings(
    *,
    lengths: Sequence[float] = LENGTHS,
    true_lengths: Sequence[float] | None = None,
    u_mm: float = 0.0,
    noise_counts: float = 0.0,
    backlash_mm: float = 0.012,
    seed: int = 1,
) -> list[BlockReading]:
    """500 counts to the mm, zero at 40 counts; coming down a count stands for half the backlash more."""
    random, found = np.random.default_rng(seed), []
    for nominal, true in zip((0.0, *lengths), (0.0, *(true_lengths or lengths)), strict=True):
        for side in (*BOTH, *BOTH):
            half = backlash_mm / 2.0 if side == "down" else -backlash_mm / 2.0
            counts = 40.0 + 500.0 * (true - half) + random.normal(0.0, noise_counts or 1e-12)
            found.append(BlockReading(GaugeBlock(nominal, u_mm) if nominal else None, side, counts))
    return found


def test_scale_offset_and_backlash_of_a_perfect_gauge_come_back() -> None:
    found = calibrate_displacement(block_readings(), PERFECT_BENCH)

    assert found.mm_per_count == pytest.approx(0.002, rel=1e-10)
    assert found.offset_mm == pytest.approx(-0.08, abs=1e-10)
    assert found.backlash_mm == pytest.approx(0.012, abs=1e-10)
    assert (found.lowest_mm, found.highest_mm, found.dof) == (0.0, 20.0, 17)


@given(gain=st.floats(-2000.0, 2000.0).filter(lambda g: abs(g) > 50.0), backlash_mm=st.floats(-0.05, 0.05))
def test_any_scale_and_backlash_come_back(gain: float, backlash_mm: float) -> None:
    readings = [
        BlockReading(each.block, each.direction, (each.mean_counts - 40.0) / 500.0 * gain)
        for each in block_readings(backlash_mm=backlash_mm)
    ]

    found = calibrate_displacement(readings, PERFECT_BENCH)

    assert found.mm_per_count == pytest.approx(1.0 / gain, rel=1e-8)
    assert found.backlash_mm == pytest.approx(backlash_mm, abs=1e-9)


def test_the_scatter_of_a_displacement_fit_is_that_of_a_general_package() -> None:
    """statsmodels' ordinary least squares, standard errors of all three coefficients."""
    from statsmodels.regression.linear_model import OLS

    readings = block_readings(noise_counts=1.0)
    found = calibrate_displacement(readings, PERFECT_BENCH)

    length = [0.0 if each.block is None else each.block.length_mm for each in readings]
    rows = [(1.0, each.mean_counts, 0.5 if each.direction == "down" else -0.5) for each in readings]
    outside = OLS(length, rows).fit()
    assert (found.offset_u_mm, found.mm_per_count_u, found.backlash_u_mm) == pytest.approx(outside.bse, rel=1e-8)
    assert found.residual_sd_mm == pytest.approx(float(np.sqrt(outside.mse_resid)), rel=1e-8)


def test_temperature_and_lean_scale_every_length_alike() -> None:
    """Relative: 11.5e-6 * 5 / sqrt 3 = 3.32e-5, and (1 deg)^2 / sqrt 20 = 6.81e-5; together 7.58e-5."""
    found = calibrate_displacement(block_readings())

    assert found.mm_per_count_u / found.mm_per_count == pytest.approx(7.58e-5, rel=1e-3)
    assert found.cosine_bound_mm == pytest.approx(20.0 * (1.0 - np.cos(np.pi / 180.0)), rel=1e-12)


def test_a_block_errs_alike_in_all_its_readings() -> None:
    """One block and the table: its error scales the scale, however often it is read (GUM 4.2.5, 5.2.2)."""
    found = calibrate_displacement(block_readings(lengths=(10.0,), u_mm=0.001), PERFECT_BENCH)

    assert found.mm_per_count_u / found.mm_per_count == pytest.approx(1e-4, rel=1e-6)


def test_the_interval_of_the_scale_holds_the_truth_as_often_as_it_says() -> None:
    """Blocks and readings drawn anew 400 times; 92.5..97.5 % is what a binomial of 95 % keeps to."""
    random, held = np.random.default_rng(6), {"scale": 0, "backlash": 0}
    for seed in range(400):
        true = [length + random.normal(0.0, 0.0005) for length in LENGTHS]
        readings = block_readings(true_lengths=true, u_mm=0.0005, noise_counts=1.0, seed=seed)

        found: DisplacementCalibration = calibrate_displacement(readings, PERFECT_BENCH)

        k = student_t.ppf(0.975, found.dof)
        held["scale"] += abs(found.mm_per_count - 0.002) < k * found.mm_per_count_u
        held["backlash"] += abs(found.backlash_mm - 0.012) < k * found.backlash_u_mm
    assert all(0.925 <= count / 400 <= 0.975 for count in held.values()), held


def test_grades_promise_what_the_standard_says() -> None:
    """ISO 3650, grades 0, 1, 2 as read; K from memory. Limit and half of the variation as rectangles (GUM 4.3.7)."""
    with (TRUTHS / "gauge_block_tolerances.csv").open() as file:
        for row in csv.DictReader(file):
            limit, variation = float(row["limit_deviation_um"]), float(row["variation_um"])
            block = block_of_grade(float(row["length_up_to_mm"]), row["grade"])
            assert block.u_mm == pytest.approx(np.sqrt(limit**2 / 3.0 + variation**2 / 12.0) * 1e-3, rel=1e-12)


def test_a_block_beyond_the_table_is_told() -> None:
    with pytest.raises(UnknownReference, match="no gauge block '1, 50 mm'"):
        block_of_grade(50.0, "1")


def test_blocks_in_one_direction_are_too_few() -> None:
    with pytest.raises(TooFewReadings, match="coming down to some and up to some"):
        calibrate_displacement([each for each in block_readings() if each.direction == "up"])


# give


def stop_presses(true_give, *, noise_mm: float = 0.0, count: int = 5, seed: int = 1) -> list[StopPress]:  # type: ignore[no-untyped-def]
    random = np.random.default_rng(seed)
    force = np.linspace(0.0, 6.0, 600)
    return [
        StopPress(force.copy(), 3.0 + random.normal(0.0, 0.01) + true_give(force) + random.normal(0.0, noise_mm, 600))
        for _ in range(count)
    ]


def test_a_linear_frame_shows_its_compliance() -> None:
    found = find_compliance(stop_presses(lambda f: 0.02 * f))

    assert found.mm_per_newton == pytest.approx(0.02, rel=1e-9)
    assert found.bow_mm == pytest.approx(0.0, abs=1e-10)
    assert give_mm(found, 3.3)[0] == pytest.approx(0.066, rel=1e-9)


def test_a_frame_of_straight_pieces_comes_back_as_it_is() -> None:
    """0.03 mm/N to 2 N, 0.01 beyond; the knots of six pieces over 6 N lie on the kink."""
    found = find_compliance(stop_presses(lambda f: np.where(f < 2.0, 0.03 * f, 0.06 + 0.01 * (f - 2.0))))

    assert give_mm(found, np.array([1.0, 2.0, 4.5]))[0] == pytest.approx([0.03, 0.06, 0.085], rel=1e-6)


@given(seed=st.integers(0, 1000), stiffness=st.floats(10.0, 10_000.0))
def test_the_give_never_falls_with_force(seed: int, stiffness: float) -> None:
    found = find_compliance(stop_presses(lambda f: f / stiffness, noise_mm=0.01, seed=seed))

    assert found.give_mm[0] == 0.0
    assert np.all(np.diff(found.give_mm) >= 0.0)


def test_the_interval_of_the_give_holds_the_truth_as_often_as_it_says() -> None:
    """300 calibrations of a frame of 0.02 mm/N with gauge noise; Student's t with four degrees of freedom."""
    held = {"line": 0, "at 4.2 N": 0}
    for seed in range(300):
        found: Compliance = find_compliance(stop_presses(lambda f: 0.02 * f, noise_mm=0.002, seed=seed))
        k = student_t.ppf(0.975, found.dof)
        give, u = give_mm(found, 4.2)
        held["line"] += abs(found.mm_per_newton - 0.02) < k * found.mm_per_newton_u
        held["at 4.2 N"] += abs(float(give) - 0.084) < k * float(u)
    assert all(0.915 <= count / 300 <= 0.985 for count in held.values()), held


def test_a_pull_gives_nothing_and_more_than_was_pressed_is_refused() -> None:
    found = find_compliance(stop_presses(lambda f: 0.02 * f))

    assert give_mm(found, -0.3)[0] == 0.0
    with pytest.raises(OutsideRange, match="beyond the stop's"):
        give_mm(found, 6.5)


def test_one_press_cannot_show_its_scatter() -> None:
    with pytest.raises(TooFewReadings, match="1 presses on the stop"):
        find_compliance(stop_presses(lambda f: 0.02 * f, count=1))


def test_a_press_with_empty_pieces_is_told() -> None:
    with pytest.raises(TooFewReadings, match=r"samples between .* N; press slower"):
        find_compliance(stop_presses(lambda f: 0.02 * f), ComplianceSettings(fewest_samples=200))


# skew


def a_stroke(speed: float, delay_s: float, *, friction: float = 0.0, noise: float = 0.0, seed: int = 1) -> Loop:
    """Down 8 mm and up again on a spring of 0.5 N/mm at constant speed; its friction loads down, relieves up."""
    random = np.random.default_rng(seed)
    time_s = np.arange(0.0, 16.0 / speed, min(0.001, 0.02 / speed))

    def way(t):  # type: ignore[no-untyped-def]
        return np.clip(8.0 - np.abs(speed * t - 8.0), 0.0, 8.0)

    late = time_s - delay_s
    force = 0.5 * way(late) + friction * np.sign(8.0 / speed - late) + random.normal(0.0, noise or 1e-12, len(time_s))
    return loop_of(time_s, way(time_s), force)


@given(delay_s=st.floats(-0.01, 0.02), speed=st.floats(5.0, 40.0))
def test_a_loop_is_twice_stiffness_times_speed_times_delay(delay_s: float, speed: float) -> None:
    """Closed form: F(t) = k x(t - tau)."""
    loop = a_stroke(speed, delay_s)

    assert loop.width_newton == pytest.approx(2.0 * 0.5 * speed * delay_s, abs=1e-9)
    assert (loop.stiffness_newton_per_mm, loop.speed_mm_per_s) == (pytest.approx(0.5), pytest.approx(speed))


def test_the_delay_closes_the_loops_and_friction_stays_apart() -> None:
    found = find_skew([a_stroke(speed, 0.002, friction=0.03) for speed in (5.0, 20.0, 40.0)])

    assert found.delay_s == pytest.approx(0.002, abs=1e-9)
    assert found.friction_newton == pytest.approx(0.03, abs=1e-8)


def test_the_interval_of_the_delay_holds_the_truth_as_often_as_it_says() -> None:
    """300 times six strokes at two speeds with 3 mN of noise a sample, three of each."""
    held = 0
    for seed in range(300):
        loops = [
            a_stroke(speed, 0.002, friction=0.02, noise=0.003, seed=1000 * seed + k)
            for k, speed in enumerate((20.0, 20.0, 20.0, 40.0, 40.0, 40.0))
        ]
        found = find_skew(loops)
        held += abs(found.delay_s - 0.002) < student_t.ppf(0.975, found.dof) * found.u_s
    assert 0.915 <= held / 300 <= 0.985


@pytest.mark.parametrize("speeds", [(5.0, 20.0), (20.0, 20.0, 21.0)])
def test_too_few_or_too_like_strokes_are_refused(speeds: tuple[float, ...]) -> None:
    with pytest.raises(TooFewReadings, match="at speeds that differ"):
        find_skew([a_stroke(speed, 0.002) for speed in speeds])


def test_a_stroke_too_fast_for_its_samples_is_refused() -> None:
    time_s = np.linspace(0.0, 1.0, 9)

    with pytest.raises(TooFewReadings, match="on one way of a stroke"):
        loop_of(time_s, 4.0 - np.abs(8.0 * time_s - 4.0), np.zeros(9))


# contact point


def test_the_contact_point_has_its_worked_example() -> None:
    """L = 218 mm, x = 13 mm: force +6.3 %, travel -6.0 % (exact: 218/205 and 205/218)."""
    point = ContactPoint(13.0, 218.0)

    force, travel = force_at_contact_per_edge(point).factor, travel_at_contact_per_edge(point).factor

    assert (force, travel) == (pytest.approx(218.0 / 205.0), pytest.approx(205.0 / 218.0))
    assert (round(100.0 * (force - 1.0), 1), round(100.0 * (travel - 1.0), 1)) == (6.3, -6.0)


@given(behind=st.floats(0.0, 100.0), lever=st.floats(120.0, 300.0))
def test_a_lever_keeps_the_work(behind: float, lever: float) -> None:
    point = ContactPoint(behind, lever)

    assert force_at_contact_per_edge(point).factor * travel_at_contact_per_edge(point).factor == pytest.approx(1.0)


def test_factors_scatter_as_their_uncertainty_says() -> None:
    """JCGM 101: both lengths drawn anew 200 000 times."""
    random = np.random.default_rng(3)
    x, lever = random.normal(13.0, 0.5, 200_000), random.normal(218.0, 1.0, 200_000)
    point = ContactPoint(13.0, 218.0, 0.5, 1.0)

    assert force_at_contact_per_edge(point).u == pytest.approx(np.std(lever / (lever - x)), rel=0.02)
    assert travel_at_contact_per_edge(point).u == pytest.approx(np.std((lever - x) / lever), rel=0.02)


def test_a_plunger_behind_the_rail_is_refused() -> None:
    with pytest.raises(OutsideRange, match="between the edge and the rail"):
        ContactPoint(230.0, 218.0)
