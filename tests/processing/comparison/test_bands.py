"""Bands over the travel: what all keys share in them, and how many of them hold together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtri, stdtrit
from scipy.stats import binomtest

from benchmarks.error_rates import BAND_COVERAGE, bands_cry_wolf
from processing.budget.calibration_lines import (
    COMPLIANCE,
    DISPLACEMENT_POWERS,
    FORCE_BY_LEVER,
    FORCE_POWERS,
    HYSTERESIS,
    TEMPERATURE,
)
from processing.budget.lines import Budget, Correlation, Line
from processing.budget.sources import LATENCY, NOISE, SMOOTHING
from processing.comparison.compare import compare_keyboards
from processing.comparison.curves import BandSettings, band_of
from processing.comparison.paired import pair
from processing.comparison.regions import PARTS
from processing.comparison.shared_curves import SharedOnCurves
from processing.statistics.series import PLACES, Series
from processing.statistics.shared import shared_parts
from recordings.keys import ALL_KEYS
from tests.builders import Array
from tests.processing.comparison.keyboards import a_keyboard

NATURALS = tuple(key for key in ALL_KEYS if key.colour == "natural")
WAY = np.arange(0.0, 8.0, 0.05)
HALF, WHOLE = 0.2 + 0.05 * WAY, 0.4 + 0.1 * WAY
"""Mean curves, N: 0.05 and 0.1 N/mm steep."""
MANY = 1e6
"""Degrees of freedom: Student's t is as wide as the normal distribution to 2e-6."""
CLOSE = 1e-5


def a_line(name: str, u: float, sensitivity: float = 1.0, dof: float = MANY) -> Line:
    return Line(name=name, kind="B", distribution="normal", u=u, unit="1", dof=dof, sensitivity=sensitivity)


def a_series(weight: float, lines: tuple[Line, ...], correlations: tuple[Correlation, ...] = ()) -> Series:
    budget = Budget(measurand="down_weight", unit="N", value=weight, lines=lines, correlations=correlations)
    return Series(
        name="down_weight",
        unit="N",
        colour="natural",
        numbers=tuple(key.number for key in NATURALS),
        values=np.full(len(NATURALS), weight),
        own_u=np.full(len(NATURALS), 0.001),
        own_dof=np.full(len(NATURALS), 10.0),
        shared=shared_parts([budget] * len(NATURALS), frozenset({NOISE})),
    )


def shared_u(first: Series, second: Series, *, one_record: bool = False) -> Array:
    """Of a mean curve WHOLE of the second less HALF of the first."""
    both = pair(first, second, one_record=one_record)
    numbers = [key.number for key in NATURALS[:20]]
    return SharedOnCurves([], [], "down", both, numbers, BAND_COVERAGE).u_on(WAY, HALF, WHOLE)


NOTHING = a_series(0.5, ())


@pytest.mark.parametrize("name", [FORCE_POWERS[0], FORCE_BY_LEVER, TEMPERATURE, HYSTERESIS])
def test_whatever_makes_forces_wrong_counts_by_its_share_of_the_weight(name: str) -> None:
    """0.003 N of a weight of 0.6 N are 0.5 %."""
    with_it = a_series(0.6, (a_line(name, 0.01, 0.3),))

    assert shared_u(NOTHING, with_it) == pytest.approx(0.005 * WHOLE, rel=CLOSE, abs=1e-9)
    assert shared_u(with_it, NOTHING) == pytest.approx(0.005 * HALF, rel=CLOSE, abs=1e-9)
    assert shared_u(with_it, with_it) == pytest.approx(0.005 * np.hypot(HALF, WHOLE), rel=CLOSE, abs=1e-9)


def test_a_constant_of_one_record_counts_with_what_it_does_to_the_difference() -> None:
    both = [a_series(weight, (a_line(FORCE_POWERS[0], 0.01, weight),)) for weight in (0.4, 0.6)]

    assert shared_u(*both, one_record=True) == pytest.approx(0.01 * (WHOLE - HALF), rel=CLOSE, abs=1e-9)
    assert shared_u(*both, one_record=False) == pytest.approx(0.01 * np.hypot(HALF, WHOLE), rel=CLOSE, abs=1e-9)


def test_the_curvature_of_a_scale_takes_back_what_its_slope_gives_where_both_were_fitted_together() -> None:
    """c1 F + c2 F^2 with r = -1 and u2 = u1 / 0.6 N is nothing at 0.6 N: u = u1 F |1 - F / 0.6|."""
    lines = (a_line(FORCE_POWERS[0], 0.01, 0.6), a_line(FORCE_POWERS[1], 0.01 / 0.6, 0.36))
    fitted = a_series(0.6, lines, (Correlation(*FORCE_POWERS, -1.0),))

    assert shared_u(NOTHING, fitted) == pytest.approx(0.01 * WHOLE * np.abs(1.0 - WHOLE / 0.6), rel=CLOSE, abs=1e-9)


def test_what_makes_places_wrong_counts_by_how_steep_the_curve_is() -> None:
    """A weight is read where the curve is flat, so its own budget holds next to nothing of them."""
    scale, give = a_line(DISPLACEMENT_POWERS[0], 0.002, 1e-6), a_line(COMPLIANCE, 0.004, 1e-6)

    assert shared_u(NOTHING, a_series(0.6, (scale,))) == pytest.approx(0.002 * WAY * 0.1, rel=CLOSE, abs=1e-9)
    assert shared_u(a_series(0.6, (scale,)), NOTHING) == pytest.approx(0.002 * WAY * 0.05, rel=CLOSE, abs=1e-9)
    assert shared_u(NOTHING, a_series(0.6, (give,))) == pytest.approx(0.004 * WHOLE * 0.1, rel=CLOSE, abs=1e-9)


@pytest.mark.parametrize("name", [SMOOTHING, LATENCY])
def test_what_does_not_act_on_the_difference_of_mean_curves_is_left_out(name: str) -> None:
    assert np.all(shared_u(NOTHING, a_series(0.6, (a_line(name, 0.01),))) == 0.0)


def test_a_shared_part_of_few_degrees_of_freedom_counts_as_wide_as_students_t() -> None:
    wide = shared_u(NOTHING, a_series(0.6, (a_line(TEMPERATURE, 0.01, 0.3, dof=4.0),)))
    level = 1.0 - 0.05 / 12.0

    assert wide == pytest.approx(0.005 * WHOLE * stdtrit(4.0, level) / ndtri(level))


def test_a_weight_of_next_to_nothing_is_no_measure_of_a_share() -> None:
    """As the up weight of a heavy action; 0.05 N stands in for it."""
    balanced = a_series(1e-4, (a_line(HYSTERESIS, 0.001, -1.0),))

    assert shared_u(NOTHING, balanced) == pytest.approx(0.001 * WHOLE / 0.05, rel=CLOSE)


def test_a_weight_that_no_key_has_shares_nothing() -> None:
    assert np.all(SharedOnCurves([], [], "up", None, [1], BAND_COVERAGE).u_on(WAY, HALF, WHOLE) == 0.0)


@pytest.mark.parametrize("pairs", [1, 2])
def test_bands_are_drawn_so_that_those_of_all_parts_ways_and_pairs_hold_together(pairs: int) -> None:
    keyboards = [a_keyboard(seed=seed) for seed in range(1, 2 + pairs)]
    found = compare_keyboards(keyboards, ["a", "b", "c"][: 1 + pairs])
    band = next(one for one in found.pairs[0].bands if (one.colour, one.region) == ("natural", "bass"))
    bass = [key for key in NATURALS if PARTS[0].holds(key.number)]
    curves = [[keyboard.keys[key.number - 1].curve for key in bass] for keyboard in keyboards[:2]]
    forces = [np.array([curve.down_newton[: len(band.way_mm)] for curve in side if curve]) for side in curves]
    settings = BandSettings(
        step_mm=found.settings.curve_step_mm,
        draws=found.settings.band_draws,
        seed=found.settings.seed,
        coverage=1.0 - 0.05 / (6.0 * pairs),
    )

    u, factor = band_of(
        tuple(PLACES[key.number] for key in bass), forces[1] - forces[0], 0.2, np.zeros(len(band.way_mm)), settings
    )

    assert band.factor == pytest.approx(factor, rel=0.1)  # another resemblance of neighbours
    assert (
        band.factor
        > 1.2
        * band_of(
            tuple(PLACES[key.number] for key in bass),
            forces[1] - forces[0],
            0.2,
            np.zeros(len(band.way_mm)),
            replace(settings, coverage=0.95),
        )[1]
    )
    assert np.all(band.half_width_newton == pytest.approx(band.factor * band.u_newton))
    assert u[0] > 0.0


def test_of_all_bands_together_none_leaves_out_0_more_often_than_stated() -> None:
    cried = sum(bands_cry_wolf(seed, 0.0, BAND_COVERAGE) for seed in range(40))

    assert binomtest(cried, 40, 0.05, alternative="greater").pvalue > 0.005
