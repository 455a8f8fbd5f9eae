"""Does the stated 95 % interval of the scale hold the truth about 95 times in a hundred? No wire, many seeds.

Each time all that the record calls unsure is drawn anew: the masses within their class (one common error, as the list
assumes), local gravity, air, tilt, noise of samples and of laying on. The interval is slope +- t(dof) u.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from scipy.stats import binom, t

from processing.calibration.force_steps import calibrate_force
from processing.calibration.gravity import Gravity
from processing.calibration.masses import buoyancy_factor, stack_forces
from processing.calibration.record_parts import effective_dof
from processing.calibration.settings import Surroundings
from tests.processing.calibration.benches import Cell, read, the_masses, up_and_down

TRIALS = 400
STANDARD = Gravity(9.8123, 0.0005, "measured")


def one_interval_holds(seed: int) -> bool:
    random, masses, around = np.random.default_rng(seed), the_masses(), Surroundings()
    true_g = STANDARD.m_per_s2 + random.normal(0.0, STANDARD.u_m_per_s2)
    air = around.air_density_kg_per_m3 * (1.0 + around.air_density_limit_share * random.uniform(-1.0, 1.0))
    upright = np.cos(np.radians(around.tilt_limit_deg) * random.uniform(-1.0, 1.0))
    together = random.uniform(-1.0, 1.0) * sqrt(3.0)  # in standard uncertainties of each mass
    true_kg = {mass.name: (mass.mass_g + together * mass.u_mg * 1e-3) * 1e-3 for mass in masses.masses}
    per_kg = true_g * upright * float(buoyancy_factor(np.array([8000.0]), air)[0])
    cell = Cell(gain=20000.0 / 1.01, bend_per_newton=float(random.choice([0.0, 0.0005])))
    steps = read(up_and_down(), cell, seed, true_newton=lambda stack: per_kg * sum(true_kg[name] for name in stack))

    found = calibrate_force(steps, stack_forces([step.masses for step in steps], masses, STANDARD, around))

    wide = t.ppf(0.975, effective_dof(found)) * sqrt(found.covariance[1, 1])
    return bool(abs(found.coefficients[1] - 1.0 / cell.gain) <= wide)


def test_the_interval_of_the_scale_holds_the_truth_as_often_as_it_says() -> None:
    held = sum(one_interval_holds(seed) for seed in range(TRIALS))

    fewest, most = binom.ppf(0.001, TRIALS, 0.95), binom.ppf(0.999, TRIALS, 0.95)  # of 400: 365 to 392
    assert fewest <= held <= most, f"{held} of {TRIALS}; binomial 99.8 % interval {fewest:.0f} to {most:.0f}"
