"""A recording under another calibration: numbers come anew from the counts, and what cannot be traced says so."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.calibrate import by_polynomial, calibrate, give_of, recalibrated
from processing.calibration_status import calibration_sentence, calibration_status, channel_status
from processing.display import Units
from processing.errors import NoContactPoint
from processing.keyboard import KeyboardResult
from processing.pipeline import analyse
from processing.report.blocks import Answer, Folded, TableBlock
from processing.report.content import build_content
from processing.report.curves import draw_key
from processing.report.key_table import key_table, short_key_table
from processing.report.recorded import Recorded
from processing.report.style import new_figure
from processing.report.write import write_report
from processing.statistics.keyboard_statistics import describe_keyboard
from processing.summary import odd_key_sentences, summary, what_was_done
from processing.views import measure_view, tidy_table, wide_table
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    CompliancePoint,
    ContactPoint,
    DisplacementCalibration,
    ForceCalibration,
    RigIdentity,
    Skew,
)
from recordings.types import Header
from tests.builders import (
    QUICK,
    WHOLE_RECORD,
    Press,
    SyntheticKey,
    a_calibration,
    a_header,
    a_polynomial,
    a_recording,
    a_trace,
    pressed,
)

FORCES = ("down_weight", "up_weight", "friction", "letoff_peak_force", "letoff_drop", "letoff_rise")
EXPIRED = replace(WHOLE_RECORD, valid_until=datetime(2026, 2, 1, tzinfo=UTC))
FOREIGN = replace(WHOLE_RECORD, rig=RigIdentity(model="a rig", serial_number="2"))


def by(record: CalibrationRecord | None, header: Header | None = None) -> KeyboardResult:
    return analyse(recalibrated(header or a_header(), record), [a_recording()], QUICK)


def value(result: KeyboardResult, name: str) -> float:
    found = result.keys[0][name].value
    assert found is not None
    return found


def force_by(*coefficients: float, reference: float = 0.0) -> CalibrationRecord:
    part = ForceCalibration(polynomial=a_polynomial(*coefficients, reference=reference))
    return replace(WHOLE_RECORD, force=part)


def test_a_record_that_says_what_the_rig_says_changes_no_number() -> None:
    stated, found = ({m.name: m.value for m in by(record).keys[0].measurements} for record in (None, WHOLE_RECORD))
    known = {name: value for name, value in stated.items() if value is not None}

    assert len(known) > 15
    assert {name: found[name] for name in known} == pytest.approx(known, rel=1e-9, abs=1e-9)


def test_one_percent_more_newtons_a_count_is_one_percent_more_force_at_the_same_places() -> None:
    stated, found = by(WHOLE_RECORD), by(force_by(0.0, 1.01e-6))

    for name in FORCES:
        assert value(found, name) == pytest.approx(1.01 * value(stated, name), rel=1e-4)
    for name in ("letoff_peak_position", "letoff_onset_position", "letoff_end_position"):
        assert value(found, name) == pytest.approx(value(stated, name), abs=0.002)  # touch at 0.05 N moves by a hair
    bed = SyntheticKey()
    assert value(found, "key_dip") == pytest.approx(
        bed.bed_mm + (3.0 / 1.01 - bed.down) / bed.bed_newton_per_mm, abs=0.01
    )


def test_a_parabola_turns_counts_into_the_force_that_it_says() -> None:
    """Of n counts of 1 uN it makes n + 0.02 n^2 (n in N): 0.5 -> 0.505 and 0.28 -> 0.281568."""
    found = by(force_by(0.0, 1e-6, 2e-14))

    assert value(found, "down_weight") == pytest.approx(0.5 + 0.02 * 0.25, abs=0.001)
    assert value(found, "up_weight") == pytest.approx(0.28 + 0.02 * 0.28**2, abs=0.001)


@given(st.floats(-1e6, 1e6), st.floats(-10.0, 10.0), st.floats(1e-7, 1e-5))
def test_where_the_reference_count_lies_does_not_matter(reference: float, c0: float, c1: float) -> None:
    counts = np.arange(-1000, 1000, 100, dtype=np.int32)
    about_zero = by_polynomial(counts, a_polynomial(c0, c1))
    about_there = by_polynomial(counts, a_polynomial(c0 + c1 * reference, c1, reference=reference))

    assert about_there == pytest.approx(about_zero, abs=1e-9)


def test_places_follow_the_displacement_part() -> None:
    part = DisplacementCalibration(polynomial=a_polynomial(3.0, 0.99e-6))
    found, stated = by(replace(WHOLE_RECORD, displacement=part)), by(WHOLE_RECORD)

    assert value(found, "letoff_peak_position") == pytest.approx(
        0.99 * value(stated, "letoff_peak_position"), abs=0.005
    )
    assert value(found, "down_weight") == pytest.approx(value(stated, "down_weight"), abs=1e-4)


def test_a_rig_that_gives_more_at_first_is_taken_out_by_its_table() -> None:
    """30 um at the first newton, 10 um at every further one: at 3 N the stage is 50 um further than the key."""
    table = tuple(CompliancePoint(newton=n, mm=mm, u_mm=0.0) for n, mm in ((0.0, 0.0), (1.0, 0.03), (2.0, 0.04)))
    record = replace(WHOLE_RECORD, compliance=Compliance(points=table))
    give = give_of(replace(a_calibration(), record=record))
    time, way, force = pressed(SyntheticKey(), Press(noise=0.0))
    key = replace(a_recording(), trace=a_trace(time, way + give(force), force))
    result = analyse(recalibrated(a_header(), record), [key], QUICK)

    assert give(np.array([-1.0, 0.5, 1.5, 3.0])) == pytest.approx([-0.03, 0.015, 0.035, 0.05])
    assert value(result, "key_dip") == pytest.approx(SyntheticKey().key_dip, abs=0.003)


def test_a_skew_of_the_record_goes_before_the_delay_that_the_rig_states() -> None:
    time, way, force = pressed(SyntheticKey(), Press(noise=0.0, strokes=1))
    trace = a_trace(time, way, np.interp(time - 0.003, time, force))
    calibration = replace(
        a_calibration(force_delay_us=9000), record=replace(WHOLE_RECORD, skew=Skew(us=3000.0, u_us=10.0))
    )

    assert calibrate(trace, calibration).force_newton[10:-10] == pytest.approx(force[10:-10], abs=1e-4)


@pytest.mark.parametrize(
    ("record", "status"),
    [
        pytest.param(None, "missing", id="none"),
        pytest.param(WHOLE_RECORD, "calibrated", id="good"),
        pytest.param(EXPIRED, "expired", id="valid until the month before"),
        pytest.param(FOREIGN, "foreign", id="another serial number"),
        pytest.param(replace(WHOLE_RECORD, rig=RigIdentity(model="b", serial_number="1")), "foreign", id="a model"),
        pytest.param(replace(EXPIRED, rig=FOREIGN.rig), "foreign", id="foreign and expired"),
        pytest.param(replace(WHOLE_RECORD, force=None), "missing", id="no part for the force"),
        pytest.param(replace(WHOLE_RECORD, displacement=None), "calibrated", id="no part for the displacement"),
        pytest.param(
            replace(WHOLE_RECORD, made_at=datetime(2026, 6, 1, tzinfo=UTC)), "calibrated", id="made later, as one may"
        ),
        pytest.param(replace(WHOLE_RECORD, valid_until=a_header().run.started_at), "calibrated", id="the last moment"),
    ],
)  # fmt: skip
def test_a_recording_has_the_status_of_its_record(record: CalibrationRecord | None, status: str) -> None:
    assert calibration_status(recalibrated(a_header(), record)) == status


def test_a_recording_that_does_not_know_its_rig_cannot_be_calibrated_by_a_record() -> None:
    header = replace(a_header(), rig=replace(a_header().rig, model=None, serial_number=None))

    assert calibration_status(recalibrated(header, WHOLE_RECORD)) == "foreign"
    assert "not known" in calibration_sentence(recalibrated(header, WHOLE_RECORD))


def test_a_part_that_is_missing_is_named_and_flags_its_own_numbers_only() -> None:
    header = recalibrated(a_header(), replace(WHOLE_RECORD, displacement=None, skew=None))
    (key,) = analyse(header, [a_recording()], QUICK).keys

    assert (channel_status(header, "force"), channel_status(header, "displacement")) == ("calibrated", "missing")
    assert calibration_sentence(header).endswith("Not calibrated, as the rig states it: displacement, skew.")
    flagged = {m.name for m in key.measurements if "uncalibrated" in m.flags}
    assert {"key_dip", "press_work", "letoff_slope"} <= flagged
    assert flagged.isdisjoint({"down_weight", "letoff_ratio"})


MARKED = [
    pytest.param(None, "uncalibrated", "uncalibrated", "Uncalibrated", id="missing"),
    pytest.param(EXPIRED, "calibration_expired", "calibration expired", "Calibration expired", id="expired"),
    pytest.param(FOREIGN, "calibration_foreign", "foreign calibration", "Foreign calibration", id="foreign"),
]


@pytest.mark.parametrize(("record", "flag", "mark", "begins"), MARKED)
def test_numbers_that_cannot_be_traced_say_so_to_programs(
    record: CalibrationRecord | None, flag: str, mark: str, begins: str
) -> None:
    result = by(record)
    view = measure_view(result)
    (key,) = json.loads(json.dumps(view))["keys"]

    assert view["calibrated"] is False
    assert FLAG_STATUS[flag] == view["calibration"]["status"]
    assert view["calibration"]["sentence"].startswith(begins)
    for feature in key["features"].values():
        if feature["value"] is not None:
            assert (flag in feature["flags"]) == (feature["unit"] != "1")
    rows = tidy_table(result).dropna(subset=["value"])
    assert rows[rows["unit"] == "N"]["flags"].str.contains(flag).all()
    assert set(wide_table(result)["calibration"]) == {FLAG_STATUS[flag]}
    assert mark in " ".join(short_key_table(result, Units())[0]).replace("\n", " ")


FLAG_STATUS = {"uncalibrated": "missing", "calibration_expired": "expired", "calibration_foreign": "foreign"}


@pytest.mark.parametrize(("record", "flag", "mark", "begins"), MARKED)
def test_every_force_that_people_read_carries_its_mark(
    record: CalibrationRecord | None, flag: str, mark: str, begins: str, tmp_path: Path
) -> None:
    odd = SyntheticKey(down=0.62, up=0.02)
    header = recalibrated(a_header(), record)
    keys = [a_recording(odd if n == 42 else None, Press(seed=n), name=replace(KEY, number=n)) for n in range(38, 47)]
    result = analyse(header, keys, QUICK)
    blocks = build_content([Recorded(result)], Units()).blocks()
    tables = [block for block in blocks if isinstance(block, TableBlock) and block.title != "Settings in force"]
    tables += [table for block in blocks if isinstance(block, Folded) for table in block.tables]
    texts = [
        *summary(result, describe_keyboard(result), Units()),
        *(why for _, why in odd_key_sentences(result, Units())),
    ]
    texts += [text for block in blocks if isinstance(block, Answer) for text in block.sentences]
    texts += [cell for block in tables for row in (block.table.heads, *block.table.rows) for cell in row]

    assert begins in texts[0]
    unmarked = [text for text in texts if text.count("gf") + text.count("mJ") > text.count(mark)]
    units_asked_for = "gf, mm"
    assert [text for text in unmarked if text != units_asked_for and not text.startswith(f"{len(keys)} of")] == []
    rows = [row for block in tables for row in block.table.rows]
    assert next(row[1] for row in rows if row[0] == "Calibration").startswith(begins)
    axes = new_figure(4, 4).add_subplot()
    draw_key(axes, result.keys[0], dataclasses.replace(Units(), force_mark=mark))
    assert mark in axes.get_ylabel()
    html, _ = write_report([Recorded(result)], tmp_path / "r", Units())
    assert html.read_text().count(mark) > 20
    assert flag in result.keys[0]["down_weight"].flags


KEY = a_recording().key


def test_calibrated_numbers_carry_no_mark() -> None:
    result = by(WHOLE_RECORD)
    said = [*summary(result, describe_keyboard(result), Units()), *key_table(result, Units()).heads]

    assert not any("uncalibrated" in text.lower() for text in said)
    assert measure_view(result)["calibrated"] is True
    assert result.keys[0]["down_weight"].flags == ()


def test_a_force_beyond_what_was_calibrated_is_flagged_and_what_is_read_at_the_bed_too() -> None:
    part = ForceCalibration(polynomial=a_polynomial(reach=(-1e5, 0.6e6)))
    (key,) = by(replace(WHOLE_RECORD, force=part)).keys
    beyond = {m.name for m in key.measurements if "outside_calibrated_range" in m.flags}

    assert {"letoff_peak_force", "key_dip", "press_work"} <= beyond  # 0.65 N, and 3 N at the bed
    assert beyond.isdisjoint({"down_weight", "up_weight", "friction"})


def test_the_zero_of_the_cell_counts_toward_the_calibrated_range() -> None:
    part = ForceCalibration(polynomial=a_polynomial(reach=(-1e5, 0.6e6)))
    header = recalibrated(a_header(), replace(WHOLE_RECORD, force=part))
    (key,) = analyse(header, [a_recording(how=Press(zero=0.2))], QUICK).keys

    assert "outside_calibrated_range" in key["down_weight"].flags  # 0.5 N above a zero of 0.2 N


def test_a_place_beyond_what_was_calibrated_is_flagged() -> None:
    part = DisplacementCalibration(polynomial=a_polynomial(reach=(-1e6, 8.2e6)))
    (key,) = by(replace(WHOLE_RECORD, displacement=part)).keys

    assert "outside_calibrated_range" in key["key_dip"].flags
    assert "outside_calibrated_range" not in key["letoff_peak_position"].flags


LEVER = replace(
    WHOLE_RECORD,
    contact_point=ContactPoint(behind_front_mm=20.0, u_behind_front_mm=0.5, lever_mm=200.0, u_lever_mm=1.0),
)
AT_FRONT = replace(QUICK, stated_at="front edge")


def test_at_the_front_edge_the_force_is_less_the_travel_more_and_the_work_the_same() -> None:
    """20 mm behind the edge of a lever of 200 mm: moments balance at 180 / 200 = 0.9 of the force."""
    record = replace(LEVER, compliance=Compliance.linear(0.02, 0.0, up_to_newton=5.0))
    header = recalibrated(a_header(), record)
    under, front = (analyse(header, [a_recording()], settings) for settings in (QUICK, AT_FRONT))

    for name in ("down_weight", "up_weight", "letoff_drop"):
        assert value(front, name) == pytest.approx(0.9 * value(under, name), rel=2e-3)
    assert value(front, "letoff_peak_position") == pytest.approx(value(under, "letoff_peak_position") / 0.9, abs=0.01)
    work = [value(result, "letoff_work") for result in (under, front)]
    assert work[1] == pytest.approx(work[0], rel=0.02)
    assert "front edge" in what_was_done(front)
    assert "front edge" not in what_was_done(under)
    assert measure_view(front)["settings"]["stated_at"] == "front edge"


@pytest.mark.parametrize(
    "record",
    [None, WHOLE_RECORD, replace(WHOLE_RECORD, contact_point=ContactPoint(behind_front_mm=9, u_behind_front_mm=1))],
)
def test_the_front_edge_needs_a_contact_point_and_a_lever(record: CalibrationRecord | None) -> None:
    with pytest.raises(NoContactPoint, match="--front-edge"):
        analyse(recalibrated(a_header(), record), [a_recording()], AT_FRONT)
