"""What a calibration record's covariance does to the numbers: by hand, from the record to the budget's lines."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from processing.calibration_doubt import doubt_of
from processing.front_edge import with_lever
from processing.pipeline import analyse
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    ContactPoint,
    CountPolynomial,
    ForceCalibration,
    RigIdentity,
    Room,
    Skew,
)
from recordings.types import Header
from tests.builders import QUICK, a_header, a_recording

SLOPE = 1.0 / 20_000.0
"""N a count, that of the builders' rig."""
U_SLOPE = 0.001 * SLOPE
"""A tenth of a percent."""


def a_record(**parts: object) -> CalibrationRecord:
    line = CountPolynomial(
        reference_counts=0.0,
        coefficients=(0.0, SLOPE),
        covariance=((1e-6, 0.0), (0.0, U_SLOPE**2)),
        dof=30.0,
        range_counts=(-200_000.0, 200_000.0),
    )
    made = {
        "rig": RigIdentity(model="bench", serial_number="7"),
        "made_at": datetime(2026, 1, 1, tzinfo=UTC),
        "valid_until": datetime(2027, 1, 1, tzinfo=UTC),
        "software_version": "0",
        "force": ForceCalibration(polynomial=line),
    }
    return CalibrationRecord(**{**made, **parts})  # type: ignore[arg-type]


def a_calibrated_header(record: CalibrationRecord | None) -> Header:
    header = a_header()
    force = replace(header.calibration.force, counts_per_unit=1.0 / SLOPE)
    return replace(header, calibration=replace(header.calibration, force=force, record=record))


def test_a_tenth_of_a_percent_of_the_scale_is_a_tenth_of_a_percent_of_a_weight() -> None:
    key = analyse(a_calibrated_header(a_record()), [a_recording()], QUICK).keys[0]
    budget = key["down_weight"].budget
    assert budget is not None
    (scale,) = [line for line in budget.lines if line.name == "force scale"]

    assert scale.contribution == pytest.approx(0.001 * key["down_weight"].value, rel=1e-3)  # type: ignore[operator]
    assert scale.dof == 30.0


def test_a_record_makes_intervals_wider_and_never_narrower() -> None:
    with_record, without = (
        analyse(a_calibrated_header(record), [a_recording()], QUICK).keys[0] for record in (a_record(), None)
    )

    assert with_record["down_weight"].u > without["down_weight"].u  # type: ignore[operator]
    for name in ("key_dip", "friction", "press_work"):
        assert with_record[name].u >= 0.999 * without[name].u  # type: ignore[operator]


def test_a_curved_scale_is_told_in_newtons() -> None:
    """By hand: u(c1) / c1 and u(c2) / c1^2; the offset has no part in any number."""
    parabola = CountPolynomial(
        reference_counts=0.0,
        coefficients=(0.1, 2.0, 0.0),
        covariance=((9.0, 0.0, 0.0), (0.0, 0.04, 0.0), (0.0, 0.0, 0.16)),
        range_counts=(0.0, 10.0),
    )
    doubt = doubt_of(a_record(force=ForceCalibration(polynomial=parabola)), room_celsius=None)

    assert doubt is not None
    assert doubt.force is not None
    assert doubt.force.covariance.diagonal().tolist() == pytest.approx([0.0, 0.01, 0.01])


def test_give_skew_and_temperature_come_along() -> None:
    record = a_record(
        compliance=Compliance.linear(0.02, 0.001, up_to_newton=5.0),
        skew=Skew(us=2000.0, u_us=50.0),
        room=Room(celsius=20),
    )
    doubt = doubt_of(record, room_celsius=23.0)

    assert doubt is not None
    assert doubt.compliance_mm_per_newton is not None
    assert doubt.compliance_mm_per_newton.u == pytest.approx(0.001)
    assert doubt.skew_s is not None
    assert doubt.skew_s.u == pytest.approx(50e-6)
    assert doubt.kelvin_off == 3.0


def test_without_a_record_nothing_is_known() -> None:
    assert doubt_of(None, room_celsius=20.0) is None


def test_at_the_front_edge_the_lever_is_a_doubt_of_both_scales() -> None:
    """Travel at the edge is the measured one times L / (L - d): d known to 0.5 mm of an arm of 205 mm is 0.24 %."""
    record = a_record(
        contact_point=ContactPoint(behind_front_mm=13.0, u_behind_front_mm=0.5, lever_mm=218.0, u_lever_mm=0.0)
    )
    doubt = doubt_of(record, room_celsius=None)
    assert doubt is not None

    told = with_lever(doubt, record)

    assert doubt.travel_by_lever is None
    assert told.travel_by_lever is not None
    assert told.travel_by_lever.u == pytest.approx(0.5 / 205.0, rel=1e-6)
    assert told.force_by_lever is not None
    assert told.force_by_lever.u == pytest.approx(0.5 / 205.0, rel=1e-6)
