"""A loading sequence becomes a calibration: against the cell's truths, closed forms and certified readings."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student_t

from processing.calibration.errors import TooFewReadings
from processing.calibration.force_steps import ForceCalibration, calibrate_force, force_of
from processing.calibration.gravity import Gravity
from processing.calibration.masses import StackForces, stack_forces
from processing.calibration.sequence import LoadStep, net_counts
from processing.calibration.settings import Surroundings
from tests.processing.calibration.benches import EXACT, HERE, Cell, read, the_masses, up_and_down

TRUTHS = Path(__file__).parents[2] / "truths" / "calibration"
QUIET = Cell(noise_newton=1e-9, reading_noise_newton=0.0)
UPRIGHT = Surroundings(tilt_limit_deg=0.0)


def calibrated(cell: Cell, asked: list[tuple[str, ...]] | None = None, seed: int = 3) -> ForceCalibration:
    asked = asked or up_and_down()
    return calibrate_force(read(asked, cell, seed), stack_forces(asked, the_masses(), EXACT, UPRIGHT))


def test_certified_readings_give_the_lower_limit_reckoned_from_their_certified_scatter() -> None:
    """StRD Pontius, the other way round: residuals of load against deflection are those of its own certified fit
    (0.205177424076185e-3) times the slope, 3 000 000 / 2.168365 for all, within the cell's curvature of 2 %.
    The lower limit factor is 2.4 times that (ASTM E74, from memory)."""
    with (TRUTHS / "pontius.csv").open() as file:
        rows = [(float(row["deflection"]), float(row["load"])) for row in csv.DictReader(file)]
    zero = LoadStep(masses=(), mean_counts=0.0, sd_counts=0.0, samples=1, time_s=0.0)
    loads = np.array([0.0, *(load for _, load in rows), 0.0])
    steps = [zero]
    steps += [
        replace(zero, masses=(str(k),), mean_counts=deflection, time_s=k + 1.0)
        for k, (deflection, _) in enumerate(rows)
    ]
    steps += [replace(zero, time_s=41.0)]

    found = calibrate_force(steps, StackForces(loads, np.zeros((42, 42))))

    assert (found.choice.degree, found.dof) == (2, 37)
    assert found.lower_limit_newton == pytest.approx(2.4 * 0.205177424076185e-3 * 3e6 / 2.168365, rel=0.02)


def test_a_straight_cell_shows_its_gain() -> None:
    found = calibrated(QUIET)

    assert found.newton_per_count == pytest.approx(1.0 / 20000.0, rel=1e-8)
    assert found.coefficients[0] == pytest.approx(0.0, abs=1e-7)
    assert found.resolution_newton == pytest.approx(1.0 / 20000.0, rel=1e-8)
    assert found.noise_newton == pytest.approx(1e-9, rel=0.05)
    assert (found.lowest_newton, found.highest_newton) == (
        pytest.approx(0.02 * 9.81 * 0.99985),
        pytest.approx(0.35 * 9.81 * 0.99985),
    )


def test_a_bent_cell_gets_a_parabola_that_undoes_the_bend() -> None:
    """F + e F^2 = n / gain has the inverse F = n/gain - e (n/gain)^2 + 2 e^2 (n/gain)^3: the last is 7e-6 N here."""
    found = calibrated(Cell(bend_per_newton=3e-4, reading_noise_newton=0.0, noise_newton=1e-5))

    assert found.choice.degree == 2
    assert found.coefficients[2] == pytest.approx(-3e-4 / 20000.0**2, rel=0.02)
    force, _ = force_of(found, 20000.0 * (2.0 + 3e-4 * 4.0))
    assert force == pytest.approx(2.0, abs=2e-5)


def test_a_drift_that_rises_with_time_takes_itself_out() -> None:
    assert calibrated(replace(QUIET, drift_newton_per_s=1e-5)).newton_per_count == pytest.approx(5e-5, rel=1e-8)


def test_hysteresis_is_the_difference_of_the_ways() -> None:
    """Every level below the top shows 2 mN more on the way down."""
    found = calibrated(replace(QUIET, hysteresis_newton=0.002))

    assert found.reversibility_newton == pytest.approx(0.002, rel=1e-3)


def test_the_zero_return_is_what_the_empty_pan_shows_more_after_a_cycle() -> None:
    """A cycle has 13 loads between its zeros: 14 steps of 20 s at 1e-5 N/s."""
    assert calibrated(replace(QUIET, drift_newton_per_s=1e-5)).zero_return_newton == pytest.approx(0.0028, rel=1e-6)


def test_creep_is_what_a_hold_adds_and_takes_no_part_in_the_fit() -> None:
    """Two more readings of the top, 20 s apart, at 1e-5 N/s."""
    asked = up_and_down(2)
    asked[8:8] = [asked[7], asked[7]]

    found = calibrated(replace(QUIET, creep_newton_per_s=1e-5), asked)

    assert (found.creep_newton, found.creep_s) == (pytest.approx(0.0004, rel=1e-3), 40.0)
    assert {row.way for row in found.residuals} == {"up", "down"}
    assert found.newton_per_count == pytest.approx(5e-5, rel=1e-8)


def test_nothing_held_and_one_cycle_say_so() -> None:
    found = calibrated(QUIET, [(), ("20",), ("50",), ("100",), ("200",), ("200", "100"), ()])

    assert (found.creep_newton, found.creep_s, found.repeatability_newton, found.reversibility_newton) == (None,) * 4


def test_repeatability_is_the_span_of_a_level_over_the_cycles() -> None:
    """Readings scatter by 1 mN; the range of three has a mean of 1.693 s (table d2), the largest of seven is more."""
    spans = [calibrated(Cell(reading_noise_newton=0.001), seed=seed).repeatability_newton for seed in range(40)]

    random = np.random.default_rng(1)
    expected = np.mean(np.max(np.ptp(random.normal(0.0, 0.001, (20_000, 7, 3)), axis=2), axis=1))
    assert np.mean([span for span in spans if span is not None]) == pytest.approx(expected, rel=0.08)


def test_the_interpolation_error_of_a_bent_cell_under_a_straight_line_is_its_bow() -> None:
    """Forced to a line by alpha = 0; the bow is checked against numpy's own line through the same readings."""
    from processing.calibration.settings import DegreeSettings

    asked = up_and_down(1)
    cell = replace(QUIET, bend_per_newton=1e-3)
    forces = stack_forces(asked, the_masses(), EXACT, UPRIGHT)
    steps = read(asked, cell, 1)

    found = calibrate_force(steps, forces, DegreeSettings(alpha=0.0))

    net, loaded = net_counts(steps), np.array([bool(step.masses) for step in steps])
    line = np.polynomial.Polynomial.fit(net[loaded], forces.force_newton[loaded], 1)
    off = np.abs(forces.force_newton - line(net))[loaded]
    assert found.interpolation_newton == pytest.approx(off.max(), rel=1e-3)
    assert found.interpolation_share == pytest.approx((off / forces.force_newton[loaded]).max(), rel=1e-3)


def test_a_cell_of_wrong_polarity_is_calibrated_with_a_negative_slope() -> None:
    assert calibrated(replace(QUIET, gain=-20000.0)).newton_per_count == pytest.approx(-5e-5, rel=1e-8)


def test_the_interval_of_a_force_holds_the_truth_as_often_as_it_says() -> None:
    """Masses, gravity and readings drawn anew 400 times; a binomial 95 % lies within 92.5..97.5 % with 0.98 chance."""
    asked, stated = up_and_down(2), stack_forces(up_and_down(2), the_masses(), HERE, UPRIGHT)
    random, held = np.random.default_rng(77), 0
    true = Cell(reading_noise_newton=0.0005)
    for seed in range(400):
        pushes = random.multivariate_normal(stated.force_newton, stated.covariance_newton2, method="svd")
        by_stack = {tuple(sorted(stack)): push for stack, push in zip(asked, pushes, strict=True)}
        steps = read(asked, true, seed, true_newton=lambda stack, table=by_stack: float(table[tuple(sorted(stack))]))  # type: ignore[misc]

        found = calibrate_force(steps, stated)

        force, u = force_of(found, 20000.0 * 2.5)
        held += abs(float(force) - 2.5) < student_t.ppf(0.975, found.dof) * float(u)
    assert 0.925 <= held / 400 <= 0.975


def test_the_uncertainty_of_gravity_is_never_averaged_away() -> None:
    """It scales every force alike, so relative u of any force is at least that of g (GUM 5.2.2)."""
    asked = up_and_down(6)
    wide = Gravity(9.81, 0.00981, "measured")

    force, u = force_of(calibrate_force(read(asked, Cell(), 1), stack_forces(asked, the_masses(), wide)), 40000.0)

    assert float(u / force) == pytest.approx(0.001, rel=0.01)


def test_a_sequence_without_its_last_zero_is_refused() -> None:
    asked = up_and_down(1)[:-1]

    with pytest.raises(TooFewReadings, match="read the zero before and after"):
        calibrated(QUIET, asked)


def test_two_loads_are_too_few() -> None:
    with pytest.raises(TooFewReadings, match="five or more at three or more"):
        calibrated(QUIET, [(), ("20",), ("50",), ("20",), ("50",), ("20",), ()])
