"""Lines of the calibration: sensitivities against closed forms of a key whose force is known everywhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.bent_curves import BENDS
from processing.budget.calibration_lines import (
    BACKLASH,
    COMPLIANCE,
    DISPLACEMENT_POWERS,
    FORCE_POWERS,
    HYSTERESIS,
    SKEW,
    TEMPERATURE,
    UNKNOWN_PER_KELVIN,
    CalibrationDoubt,
    Doubt,
    FitDoubt,
    calibration_lines,
    fit_lines,
)
from processing.budget.lines import Line
from processing.budget.sources import DRIFT_APART, TOUCH, ZERO
from processing.evidence import Evidence
from processing.features.read_off import NotePlaces
from processing.measure import measure_key
from processing.stages import FloatArray, Measurement, StrokeNotes
from processing.zero_drift import Drift
from tests.builders import QUICK, SyntheticKey, a_curve

KEY = SyntheticKey()
X = np.arange(0.0, 10.2, 0.01)
SPEED = 4.0
ALL = CalibrationDoubt(
    force=FitDoubt(np.diag([1e-3, 2e-3, 1e-4]) ** 2, 30.0),
    displacement=FitDoubt(np.diag([1e-3, 1e-3, 1e-5]) ** 2, 8.0),
    compliance_mm_per_newton=Doubt(0.001, 20.0),
    skew_s=Doubt(1e-4),
    backlash_mm=Doubt(0.002),
    kelvin_off=5.0,
)


def an_evidence(doubt: CalibrationDoubt | None, *, up: FloatArray | None = None) -> Evidence:
    curve = a_curve(X, KEY.force_down(X), KEY.force_up(X) if up is None else up)
    notes = StrokeNotes(trigger_mm=8.5, release_mm=7.0, velocity=None, speed_at_trigger_mm_per_s=SPEED)
    return Evidence(
        curve=curve,
        stroke_curves=(curve,) * 3,
        heavier_curve=curve,
        stricter_curve=curve,
        stroke_notes=(notes,) * 3,
        notes_heard=True,
        zero_u_newton=1e-4,
        drift=Drift(2e-4, 4.0),
        touch_u_mm=1e-3,
        speed_mm_per_s=SPEED,
        flags=(),
        doubt=doubt,
    )


def measured(doubt: CalibrationDoubt | None = ALL, *, up: FloatArray | None = None) -> dict[str, Measurement]:
    evidence = an_evidence(doubt, up=up)
    return {measurement.name: measurement for measurement in measure_key(evidence, QUICK)[0]}


MEASURED = measured()


def line_of(name: str, source: str, among: dict[str, Measurement] = MEASURED) -> Line:
    budget = among[name].budget
    assert budget is not None
    return next(line for line in budget.lines if line.name == source)


DIP_PER_NEWTON = 1.0 / KEY.bed_newton_per_mm
CLOSED_FORMS = [
    # measurand, constant, what one unit of it does, absolute tolerance
    ("down_weight", FORCE_POWERS[0], KEY.down, 1e-6),
    ("up_weight", FORCE_POWERS[0], KEY.up, 1e-6),
    ("friction", FORCE_POWERS[0], (KEY.down - KEY.up) / 2, 1e-6),
    ("balance_weight", FORCE_POWERS[0], (KEY.down + KEY.up) / 2, 1e-6),
    ("letoff_drop", FORCE_POWERS[0], KEY.peak_rise, 1e-3),
    ("letoff_ratio", FORCE_POWERS[0], 0.0, 1e-6),
    ("press_work", FORCE_POWERS[0], KEY.down * KEY.bed_mm, 0.3),  # and the ridge; bed contact moves a little
    ("key_dip", FORCE_POWERS[0], -3.0 * DIP_PER_NEWTON, 0.01),  # 3 N are reached earlier
    ("down_weight", FORCE_POWERS[1], KEY.down**2, 1e-6),
    ("friction", FORCE_POWERS[1], (KEY.down**2 - KEY.up**2) / 2, 1e-6),
    ("key_dip", DISPLACEMENT_POWERS[0], KEY.key_dip, 0.05),
    ("letoff_peak_position", DISPLACEMENT_POWERS[0], KEY.peak_mm, 0.05),
    ("aftertouch", DISPLACEMENT_POWERS[0], KEY.key_dip - KEY.peak_mm, 0.1),
    ("down_weight", DISPLACEMENT_POWERS[0], 0.0, 1e-6),
    ("key_dip", DISPLACEMENT_POWERS[1], KEY.key_dip**2, 0.5),
    ("trigger_position", DISPLACEMENT_POWERS[1], 8.5**2, 1e-6),
    ("trigger_position", DISPLACEMENT_POWERS[0], 8.5, 1e-6),
    ("release_position", DISPLACEMENT_POWERS[0], 7.0, 1e-6),
    ("key_dip", COMPLIANCE, -(3.0 - 0.05), 0.1),  # the tip is less deep by the force, less that of touch
    ("letoff_peak_position", COMPLIANCE, -(KEY.down + KEY.peak_rise - 0.05), 0.05),
    ("release_position", COMPLIANCE, -(KEY.up - 0.05), 0.01),
    ("key_dip", SKEW, 0.0, 1e-6),
    ("trigger_position", SKEW, SPEED, 1e-6),
    ("release_position", SKEW, SPEED, 1e-6),
    ("down_weight", ZERO, 1.0, 1e-6),
    ("friction", ZERO, 0.0, 1e-6),  # a force less a force
    ("friction", DRIFT_APART, 1.0, 1e-6),  # (D + s - (U - s)) / 2
    ("balance_weight", DRIFT_APART, 0.0, 1e-6),
    ("letoff_drop", ZERO, 0.0, 1e-6),
    ("letoff_ratio", ZERO, -KEY.peak_rise / (KEY.down + KEY.peak_rise) ** 2, 1e-2),  # d/dz of drop / (peak + z)
    ("return_work", ZERO, KEY.bed_mm, 0.1),
    ("key_dip", ZERO, -DIP_PER_NEWTON, 1e-3),
    ("key_dip", TOUCH, 1.0, 1e-2),
    ("aftertouch", TOUCH, 0.0, 1e-2),  # a place less a place
    ("release_height", TOUCH, 0.0, 1e-2),
    ("down_weight", TOUCH, 0.0, 1e-6),
    ("trigger_position", BACKLASH, 0.0, 1e-6),
    ("release_position", BACKLASH, 1.0, 1e-6),
]


@pytest.mark.parametrize(("name", "constant", "slope", "within"), CLOSED_FORMS)
def test_a_number_answers_to_a_constant_as_it_must(name: str, constant: str, slope: float, within: float) -> None:
    assert line_of(name, constant).sensitivity == pytest.approx(slope, abs=within)


@pytest.mark.parametrize(("constant", "deeper_mm"), [(SKEW, 2.0 * SPEED), (BACKLASH, 1.0)])
def test_the_way_up_lies_deeper_and_a_sloping_force_shows_it(constant: str, deeper_mm: float) -> None:
    """An up force of a + b x that lies deeper by s is less by b s; late force moves touch and way up apart."""
    rise = 0.01
    sloping = measured(up=KEY.force_up(X) + rise * X)

    assert line_of("up_weight", constant, sloping).sensitivity == pytest.approx(-rise * deeper_mm, rel=1e-3)


def test_more_give_brings_the_tip_up_by_force_less_that_of_touch() -> None:
    """By hand: the force a + b x belongs to x - s (a + b x - 0.05); so at y it is (a + b (y - 0.05 s)) / (1 - b s)."""
    give = next(bend for bend in BENDS if bend.constant == COMPLIANCE)
    a, b, s = 0.2, 0.02, 0.01
    evidence = an_evidence(None, up=a + b * X)
    curve, _ = give.bent(evidence, NotePlaces(None, None, None, ""), s, 0.05)
    inside = slice(10, -10)

    assert curve.up_newton is not None
    assert curve.up_newton[inside] == pytest.approx(((a + b * (X - 0.05 * s)) / (1.0 - b * s))[inside], abs=1e-9)


def test_a_bed_stiffer_than_the_step_of_give_does_not_fold_over_itself() -> None:
    stiff = SyntheticKey(bed_newton_per_mm=300.0)
    curve = replace(an_evidence(None).curve, down_newton=stiff.force_down(X))
    give = next(bend for bend in BENDS if bend.constant == COMPLIANCE)
    bent, _ = give.bent(replace(an_evidence(None), curve=curve), NotePlaces(None, None, None, ""), give.step, 0.05)

    assert bent.down_newton[900] == pytest.approx(KEY.down, abs=1e-3)  # at 9.0 mm, before the bed
    assert bent.down_newton[960] > 100.0


def test_an_uncalibrated_number_has_no_line_of_a_calibration() -> None:
    names = {name for measurement in measured(None).values() for name in _names(measurement)}

    assert names.isdisjoint({*FORCE_POWERS, *DISPLACEMENT_POWERS, COMPLIANCE, SKEW, BACKLASH, TEMPERATURE})


def _names(measurement: Measurement) -> list[str]:
    return [] if measurement.budget is None else [line.name for line in measurement.budget.lines]


def test_a_calibration_never_makes_a_number_surer() -> None:
    without = measured(None)

    for name, measurement in MEASURED.items():
        if measurement.u is not None:
            assert measurement.u >= (without[name].u or 0.0)


def test_a_mean_force_has_the_variance_of_the_fitted_scale_at_that_force() -> None:
    """Closed form: u^2 = g^T V g with g = (F, F^2) of c1 and c2; the offset falls out with the zero."""
    covariance = np.array([[1e-6, -2e-7, 1e-8], [-2e-7, 4e-6, -1.8e-6], [1e-8, -1.8e-6, 1e-6]])
    with_fit = measured(CalibrationDoubt(force=FitDoubt(covariance, 30.0)))["down_weight"]
    without = measured(None)["down_weight"]
    gradient = np.array([KEY.down, KEY.down**2])

    assert with_fit.u is not None
    assert without.u is not None
    assert with_fit.u**2 - without.u**2 == pytest.approx(gradient @ covariance[1:, 1:] @ gradient, rel=1e-6)


def test_a_straight_scale_has_one_line_and_a_bent_one_two_that_are_correlated() -> None:
    covariance = np.array([[1.0, 0.0, 0.0], [0.0, 4.0, -1.5], [0.0, -1.5, 1.0]])
    straight, none = fit_lines(FitDoubt(covariance[:2, :2], 9.0), FORCE_POWERS, "N", lambda _: 1.0)
    bent, (pair,) = fit_lines(FitDoubt(covariance, 8.0), FORCE_POWERS, "N", lambda _: 1.0)

    assert [line.u for line in straight] == [2.0]
    assert none == ()
    assert [(line.u, line.unit, line.dof) for line in bent] == [(2.0, "1", 8.0), (1.0, "1/N", 8.0)]
    assert pair.r == -0.75


@pytest.mark.parametrize("covariance", [np.eye(1), np.eye(4), np.ones((2, 3))], ids=["1", "4", "2 by 3"])
def test_what_is_no_covariance_of_a_scale_is_refused(
    covariance: np.ndarray[tuple[int, int], np.dtype[np.float64]],
) -> None:
    with pytest.raises(ValueError, match="none of 2 or 3"):
        fit_lines(FitDoubt(covariance, 9.0), FORCE_POWERS, "N", lambda _: 1.0)


def test_a_room_of_another_temperature_is_a_rectangular_line_of_the_force_scale() -> None:
    line = line_of("down_weight", TEMPERATURE)

    assert line.contribution == pytest.approx(KEY.down * 5.0 * UNKNOWN_PER_KELVIN / np.sqrt(3.0))
    assert (line.kind, line.distribution) == ("B", "rectangular")


def test_what_was_not_calibrated_has_no_line() -> None:
    lines, correlations = calibration_lines(replace(ALL, skew_s=None, kelvin_off=None), lambda _: 1.0)

    assert [line.name for line in lines] == [*FORCE_POWERS, *DISPLACEMENT_POWERS, COMPLIANCE, BACKLASH]
    assert [pair.r for pair in correlations] == [0.0, 0.0]


def test_a_cell_that_shows_more_on_unloading_leaves_half_of_that_either_way() -> None:
    """Loading shows half less than the scale's middle, unloading half more: at most R/2, a rectangle (GUM 4.3.7)."""
    doubt = CalibrationDoubt(reversibility_newton=0.0012)

    down, friction, balance = (
        calibration_lines(doubt, lambda _, apart=apart: apart)[0][0] for apart in (1.0, 1.0, 0.0)
    )

    assert (down.name, down.kind, down.distribution) == (HYSTERESIS, "B", "rectangular")
    assert down.contribution == pytest.approx(0.0006 / np.sqrt(3.0))
    assert friction.contribution == down.contribution
    assert balance.contribution == 0.0
