"""Files of raw readings: what is written is read back, and a record takes over what is still good."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from recordings.calibration_file import content_id
from recordings.calibration_readings import (
    CalibrationReadings,
    LoadReading,
    PressReading,
    ReadingsHead,
    StatedGravity,
    read_readings,
    without_set_aside,
    write_readings,
)
from recordings.calibration_record import CalibrationRecord, Environment, RigIdentity, Room, Skew
from recordings.calibration_succession import succeed
from recordings.errors import MalformedReadings, RecordingExists
from recordings.types import RawTrace
from tests.builders import WHOLE_RECORD, a_calibration

NOW = datetime(2026, 6, 1, tzinfo=UTC)
HEAD = ReadingsHead(
    kind="force",
    rig=RigIdentity(model="a rig", serial_number="1"),
    made_at=NOW,
    software_version="0",
    stated=replace(a_calibration(), record=WHOLE_RECORD),
    force_range_counts=(-4e5, 4e5),
    operator="Ada",
    room=Room(celsius=21.5),
    environment=Environment(celsius=21.5),
    gravity=StatedGravity(m_per_s2=9.8123, u_m_per_s2=0.0002, source="measured"),
    references='[[masses]]\nname = "a, b"\n',
)
LOADS = (
    LoadReading(masses=(), mean_counts=0.1, sd_counts=3.0, samples=1500, time_s=1.25, settled=True),
    LoadReading(
        masses=("m 20", "m50"), mean_counts=1e5 / 3, sd_counts=3.0, samples=1500, time_s=9.5, settled=False,
        set_aside="the step was repeated",
    ),
)  # fmt: skip


def a_press(under: str, first: int) -> PressReading:
    number = np.arange(first, first + 5, dtype=np.int64)
    counts = np.arange(-2, 3, dtype=np.int32)
    return PressReading(under=under, speed_mm_per_s=0.5, trace=RawTrace(number, number * 1000, counts, counts * 7))


def test_readings_of_loads_are_read_back_as_they_were(tmp_path: Path) -> None:
    readings = CalibrationReadings(head=HEAD, loads=LOADS)

    write_readings(tmp_path / "r.csv", readings)
    back = read_readings(tmp_path / "r.csv")

    assert back.head == HEAD
    assert back.loads == LOADS
    assert without_set_aside(back).loads == LOADS[:1]
    assert (tmp_path / "r.csv").read_text().startswith("# keyplumb: raw readings of one calibration")


def test_readings_of_presses_are_read_back_sample_by_sample(tmp_path: Path) -> None:
    presses = (a_press("table", 10), a_press("b5", 90), replace(a_press("b5", 200), speed_mm_per_s=None))

    write_readings(tmp_path / "r.csv", CalibrationReadings(head=replace(HEAD, kind="displacement"), presses=presses))
    back = read_readings(tmp_path / "r.csv").presses

    assert [one.under for one in back] == ["table", "b5", "b5"]
    assert [one.speed_mm_per_s for one in back] == [0.5, 0.5, None]
    for one, other in zip(back, presses, strict=True):
        assert one.trace.force_counts.tolist() == other.trace.force_counts.tolist()
        assert one.trace.tick_us.tolist() == other.trace.tick_us.tolist()


def test_readings_are_never_written_over(tmp_path: Path) -> None:
    write_readings(tmp_path / "r.csv", CalibrationReadings(head=HEAD, loads=LOADS))

    with pytest.raises(RecordingExists):
        write_readings(tmp_path / "r.csv", CalibrationReadings(head=HEAD))


@pytest.mark.parametrize(
    ("was", "instead", "told"),
    [
        ("# {", "", "line 2: the head is missing"),
        ("keyplumb.readings/1", "keyplumb.readings/9", "line 2: it is 'keyplumb.readings/9'"),
        ('"operator": "Ada"', '"operater": "Ada"', "line 2: operater: Unexpected keyword argument"),
        ("sd_counts,samples", "sd,samples", "line 3: the columns must be step,masses"),
        ("1500,1.25,True", "1500,1.25,perhaps", "line 4: settled must be True or False"),
        ("1500,9.5,False", "1500", "line 5: 6 cells instead of 8"),
    ],
)
def test_a_spoiled_file_is_refused_by_its_line(was: str, instead: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    write_readings(path, CalibrationReadings(head=HEAD, loads=LOADS))
    text = path.read_text()
    assert was in text
    path.write_text(text.replace(was, instead, 1))

    with pytest.raises(MalformedReadings) as fault:
        read_readings(path)
    assert told in str(fault.value)


def a_new_record(**parts: object) -> CalibrationRecord:
    return CalibrationRecord(
        rig=WHOLE_RECORD.rig,
        made_at=NOW,
        valid_until=NOW + timedelta(days=365),
        software_version="1",
        **(parts or {"skew": Skew(us=640.0, u_us=5.0)}),  # type: ignore[arg-type]
    )


def test_a_new_record_takes_over_the_other_parts_and_the_earlier_last_day() -> None:
    after = succeed(a_new_record(), WHOLE_RECORD).record

    assert after.skew == Skew(us=640.0, u_us=5.0)
    assert (after.force, after.displacement, after.compliance) == (
        WHOLE_RECORD.force,
        WHOLE_RECORD.displacement,
        WHOLE_RECORD.compliance,
    )
    assert after.supersedes == content_id(WHOLE_RECORD)
    assert after.valid_until == WHOLE_RECORD.valid_until


def test_nothing_of_an_expired_record_is_taken_over_and_that_is_said() -> None:
    expired = replace(WHOLE_RECORD, valid_until=NOW - timedelta(days=1))

    after = succeed(a_new_record(), expired)

    assert after.record.force is None
    assert after.record.valid_until == NOW + timedelta(days=365)
    assert after.record.supersedes == content_id(expired)
    assert "has expired on 2026-05-31: its force and displacement and compliance not taken over" in after.told


def test_a_force_found_anew_without_a_thermometer_forgets_the_old_temperature() -> None:
    before = replace(WHOLE_RECORD, environment=Environment(celsius=20.0, force_per_kelvin=1e-4))
    new = a_new_record(force=WHOLE_RECORD.force)

    assert succeed(new, before).record.environment is None
    assert succeed(a_new_record(), before).record.environment == before.environment


def test_a_record_never_comes_after_one_of_another_rig() -> None:
    with pytest.raises(ValueError, match="cannot come before"):
        succeed(a_new_record(), replace(WHOLE_RECORD, rig=RigIdentity(model="a rig", serial_number="2")))
