"""From raw presses to parts of a record: what a perfect press on a known reference must give."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from processing.calibration.derive import DERIVE, derive, derive_compliance, derive_displacement, derive_skew
from processing.calibration.errors import OutsideRange, TooFewReadings
from processing.calibration.press_places import free_press, place_both_ways
from processing.calibration.record_parts import compliance_part, widening
from recordings.calibration_readings import CalibrationReadings, PressReading, ReadingsHead
from recordings.calibration_record import RigIdentity
from recordings.types import RawTrace
from tests.builders import MICRO, WHOLE_RECORD, a_calibration

RATE_HZ = 1000.0
BLOCKS = """
[[block]]
name = "b5"
nominal_mm = 5.0
grade = "1"
[[block]]
name = "b10"
nominal_mm = 10.0
grade = "1"
[[block]]
name = "b20"
nominal_mm = 20.0
grade = "1"
"""


def a_press(
    surface_mm: float,
    *,
    newton_per_mm: float = 50.0,
    speed: float = 0.5,
    depth_mm: float = 0.1,
    late_s: float = 0.0,
    play_mm: float = 0.0,
    scale: float = 1.0,
    noise_newton: float = 0.002,
    seed: int = 1,
) -> RawTrace:
    """Press on a spring from half a millimetre above it, and back; the gauge lags by its play and shows 1/scale."""
    rest, ramp = np.zeros(round(0.5 * RATE_HZ)), np.arange(0.0, 0.5 + depth_mm, speed / RATE_HZ)
    way = surface_mm - 0.5 + np.concatenate([rest, ramp, ramp[::-1], rest])
    time = np.arange(len(way)) / RATE_HZ
    true = newton_per_mm * np.maximum(way - surface_mm, 0.0)
    force = np.interp(time - late_s, time, true)
    side = np.concatenate([-np.ones(len(rest) + len(ramp)), np.ones(len(rest) + len(ramp))])
    random = np.random.default_rng(seed)
    number = np.arange(len(way), dtype=np.int64)
    return RawTrace(
        number,
        number * 1000,
        np.rint((force + 0.3 + random.normal(0.0, noise_newton, len(way))) * MICRO).astype(np.int32),
        np.rint((way + side * play_mm / 2.0) / scale * MICRO).astype(np.int32),
    )


def readings(kind: str, presses: list[tuple[str, RawTrace]], *, late_us: int = 0) -> CalibrationReadings:
    head = ReadingsHead(
        kind=kind,  # type: ignore[arg-type]
        rig=RigIdentity(model="a rig", serial_number="1"),
        made_at=datetime(2026, 3, 1, tzinfo=UTC),
        software_version="0",
        stated=a_calibration(force_delay_us=late_us),
        references=BLOCKS,
    )
    rows = tuple(PressReading(under=under, speed_mm_per_s=0.5, trace=trace) for under, trace in presses)
    return CalibrationReadings(head=head, presses=rows)


@pytest.mark.parametrize("late_us", [0, 2000])
def test_both_ways_meet_at_one_place_if_nothing_lags(late_us: int) -> None:
    calibration = a_calibration(force_delay_us=late_us)

    place = place_both_ways(free_press(a_press(10.0, late_s=late_us * 1e-6), calibration))

    # 1 N at 50 N/mm lies 0.02 mm below the surface
    assert place.down_counts / MICRO == pytest.approx(10.02, abs=5e-5)
    assert place.up_counts / MICRO == pytest.approx(10.02, abs=5e-5)
    assert place.speed_mm_per_s == pytest.approx(0.5, rel=0.01)


def test_blocks_give_scale_and_play_whatever_the_frame_gives() -> None:
    lengths = {"table": 0.0, "b5": 5.0, "b10": 10.0, "b20": 20.0}
    presses = [
        (name, a_press(22.0 - length, play_mm=0.008, scale=1.004, seed=seed))
        for seed, (name, length) in enumerate([*lengths.items(), *lengths.items()])
    ]

    found = derive_displacement(readings("displacement", presses))

    scale = found.part.polynomial.coefficients[1] * MICRO
    assert scale == pytest.approx(1.004, abs=3.0 * found.calibration.mm_per_count_u * MICRO)
    assert found.part.backlash_mm == pytest.approx(0.008 * 1.004, rel=0.02)
    assert found.faults == ()
    # an unknown skew of up to 2 ms moves both ways apart by 2 v tau: that is most of the doubt
    assert found.part.u_backlash_mm == pytest.approx(2.0 * 0.5 * 2e-3 / np.sqrt(3.0), rel=0.1)


def test_a_skew_that_was_found_before_makes_the_backlash_surer() -> None:
    lengths = {"table": 0.0, "b5": 5.0, "b10": 10.0, "b20": 20.0}
    presses = [(name, a_press(22.0 - lengths[name], seed=seed)) for seed, name in enumerate([*lengths, *lengths])]
    alone = readings("displacement", presses)
    after = replace(alone, head=replace(alone.head, stated=replace(alone.head.stated, record=WHOLE_RECORD)))

    assert (derive_displacement(after).part.u_backlash_mm or 0.0) < 0.1 * (
        derive_displacement(alone).part.u_backlash_mm or 0.0
    )


def test_a_linear_frame_gives_its_straight_line() -> None:
    presses = [("stop", a_press(10.0, seed=seed, noise_newton=0.003)) for seed in range(5)]

    found = derive_compliance(readings("compliance", presses))

    for point in found.part.points[1:]:
        assert point.mm == pytest.approx(point.newton / 50.0, abs=3.0 * point.u_mm)
        assert point.u_mm < 3e-4
    assert found.faults == ()


def test_a_stop_that_is_none_is_named() -> None:
    presses = [("stop", a_press(10.0, newton_per_mm=2.0, depth_mm=2.5, speed=2.0, seed=seed)) for seed in range(3)]

    assert [fault.code for fault in derive_compliance(readings("compliance", presses)).faults] == ["not_rigid"]


def test_the_delay_is_found_from_strokes_of_a_spring_whatever_the_play() -> None:
    presses = [
        (
            "spring",
            a_press(6.0, newton_per_mm=0.8, depth_mm=5.0, speed=speed, late_s=2.64e-3, play_mm=0.006, seed=10 * number),
        )
        for number, speed in enumerate((2.0, 2.0, 2.0, 8.0, 8.0, 8.0, 20.0, 20.0, 20.0))
    ]

    found = derive_skew(readings("skew", presses))

    assert found.part.us == pytest.approx(2640.0, abs=3.0 * found.part.u_us)
    assert found.part.u_us < 60.0
    assert found.faults == ()


def test_a_spring_that_is_a_stop_is_named() -> None:
    presses = [("spring", a_press(6.0, depth_mm=0.2, speed=speed)) for speed in (0.5, 0.5, 1.0, 1.0)]

    assert [fault.code for fault in derive_skew(readings("skew", presses)).faults] == ["not_elastic"]


def test_a_press_without_air_is_refused_with_what_to_do() -> None:
    loaded = a_press(10.0).part(slice(1500, 1800))

    with pytest.raises(TooFewReadings, match="air before and after"):
        free_press(loaded, a_calibration())


def test_few_degrees_of_freedom_widen_and_many_do_not() -> None:
    """GUM table G.2: t(95 %) is 2.776 for 4 degrees of freedom, 1.960 for many."""
    assert widening(4) == pytest.approx(2.776 / 1.960, abs=0.001)
    assert widening(100000) == pytest.approx(1.0, abs=1e-4)


def test_the_first_point_of_a_give_is_exactly_nothing_at_no_force() -> None:
    presses = [("stop", a_press(10.0, seed=seed)) for seed in range(4)]
    part = compliance_part(derive_compliance(readings("compliance", presses)).calibration)

    assert (part.points[0].newton, part.points[0].mm, part.points[0].u_mm) == (0.0, 0.0, 0.0)


def test_a_gauge_that_shows_one_place_for_all_blocks_is_told_and_is_no_crash() -> None:
    presses = [(name, a_press(10.0)) for name in ("table", "b5", "b10", "b20") * 2]
    stuck = [(name, replace(trace, displacement_counts=np.full(len(trace), 7, np.int32))) for name, trace in presses]

    with pytest.raises(TooFewReadings, match="the gauge stands at one place"):
        derive(readings("displacement", stuck))


def test_what_can_be_no_part_of_a_record_is_refused_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    def turns_back(_: object) -> None:
        raise ValueError("the polynomial turns back within its range")

    monkeypatch.setitem(DERIVE, "skew", turns_back)

    with pytest.raises(OutsideRange, match="make no calibration: the polynomial turns back"):
        derive(readings("skew", []))
