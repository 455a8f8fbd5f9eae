"""Which record of a folder a new recording rests on, and what is said about it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from recordings.calibration_file import content_id, write_calibration
from recordings.calibration_folder import choose_calibration
from recordings.calibration_record import CalibrationRecord, RigIdentity
from tests.builders import WHOLE_RECORD, a_header

RIG = a_header().rig
AT = a_header().run.started_at
LATER = replace(WHOLE_RECORD, made_at=WHOLE_RECORD.made_at + timedelta(days=30))
EXPIRED = replace(LATER, valid_until=datetime(2026, 2, 10, tzinfo=UTC))
FOREIGN = replace(LATER, rig=RigIdentity(model="a rig", serial_number="2"))
SUPERSEDED = replace(WHOLE_RECORD, made_at=LATER.made_at + timedelta(days=1))
CORRECTED = replace(WHOLE_RECORD, note="the masses were mixed up", supersedes=content_id(SUPERSEDED))


@pytest.mark.parametrize(
    ("records", "chosen", "told"),
    [
        pytest.param([], None, "marked uncalibrated", id="none"),
        pytest.param([WHOLE_RECORD], WHOLE_RECORD, "valid until 2027-01-01", id="one"),
        pytest.param([LATER, WHOLE_RECORD], LATER, "of 2026-01-31", id="the newest"),
        pytest.param(
            [WHOLE_RECORD, EXPIRED], WHOLE_RECORD, "valid until 2027", id="a valid one before a newer expired"
        ),
        pytest.param([EXPIRED], EXPIRED, "has expired on 2026-02-10", id="an expired one rather than none"),
        pytest.param([FOREIGN], None, "0.json is of a rig 2", id="never another rig's"),
        pytest.param([FOREIGN, WHOLE_RECORD], WHOLE_RECORD, "0.json is of a rig 2", id="its own beside another's"),
        pytest.param([SUPERSEDED, CORRECTED], CORRECTED, "of 2026-01-01", id="not one that was superseded"),
    ],
)
def test_the_newest_valid_record_of_the_rig_is_chosen(
    records: list[CalibrationRecord], chosen: CalibrationRecord | None, told: str, tmp_path: Path
) -> None:
    for number, record in enumerate(records):
        write_calibration(tmp_path / f"{number}.json", record)
    choice = choose_calibration(tmp_path, RIG, AT)

    assert choice.record == chosen
    assert told in choice.told


def test_a_file_that_cannot_be_read_is_named_and_keeps_nobody_from_recording(tmp_path: Path) -> None:
    write_calibration(tmp_path / "good.json", WHOLE_RECORD)
    (tmp_path / "bad.json").write_text("{")
    choice = choose_calibration(tmp_path, RIG, AT)

    assert choice.record == WHOLE_RECORD
    assert "bad.json" in choice.told


def test_the_folder_need_not_be_there(tmp_path: Path) -> None:
    assert choose_calibration(tmp_path / "calibrations", RIG, AT).record is None
