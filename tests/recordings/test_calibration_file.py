"""Calibration records on disk: what goes in comes out, what is wrong is refused by place, nothing is overwritten."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import h5py
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings.calibration_file import (
    content_id,
    read_calibration,
    record_as_dict,
    record_as_text,
    record_from_text,
    write_calibration,
)
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    CompliancePoint,
    ContactPoint,
    CountPolynomial,
    DisplacementCalibration,
    Environment,
    ForceCalibration,
    Mass,
    RigIdentity,
    Room,
    Skew,
)
from recordings.errors import MalformedCalibration, MalformedRecording, NoSuchFile, RecordingExists
from recordings.reader import read_recording
from recordings.types import Header
from recordings.writer import write_recording
from tests.builders import WHOLE_RECORD, a_header, a_polynomial, a_recording

numbers = st.floats(-1e6, 1e6)
uncertainties = st.floats(0.0, 1e3)
maybe = st.none() | uncertainties
words = st.text(max_size=8)


@st.composite
def polynomials(draw: st.DrawFn) -> CountPolynomial:
    slope, variances = draw(st.floats(1e-9, 1e3)), draw(st.lists(uncertainties, min_size=2, max_size=2))
    return CountPolynomial(
        reference_counts=draw(numbers),
        coefficients=(draw(numbers), slope),
        covariance=((variances[0], 0.0), (0.0, variances[1])),
        dof=draw(st.none() | st.floats(0.5, 1e6)),
        range_counts=(-draw(st.floats(1.0, 1e7)), draw(st.floats(1.0, 1e7))),
    )


@st.composite
def compliances(draw: st.DrawFn) -> Compliance:
    steps = draw(st.lists(st.tuples(st.floats(0.01, 5.0), st.floats(0.0, 0.1), uncertainties), min_size=1, max_size=4))
    points = [CompliancePoint(newton=0.0, mm=0.0, u_mm=0.0)]
    for newton, mm, u_mm in steps:
        points.append(CompliancePoint(newton=points[-1].newton + newton, mm=points[-1].mm + mm, u_mm=u_mm))
    return Compliance(points=tuple(points))


@st.composite
def records(draw: st.DrawFn) -> CalibrationRecord:
    made_at = draw(st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1), timezones=st.just(UTC)))
    masses = st.builds(Mass, name=words, nominal_gram=uncertainties, oiml_class=st.none() | words)
    return CalibrationRecord(
        rig=RigIdentity(model=draw(words), serial_number=draw(words)),
        made_at=made_at,
        valid_until=made_at + timedelta(days=draw(st.integers(1, 1000))),
        software_version="0",
        operator=draw(st.none() | words),
        room=draw(st.none() | st.builds(Room, celsius=maybe)),
        supersedes=draw(st.none() | words),
        force=draw(
            st.none()
            | st.builds(ForceCalibration, polynomial=polynomials(), masses=st.tuples(masses), creep_newton=maybe)
        ),
        displacement=draw(
            st.none() | st.builds(DisplacementCalibration, polynomial=polynomials(), u_backlash_mm=maybe)
        ),
        compliance=draw(st.none() | compliances()),
        skew=draw(st.none() | st.builds(Skew, us=numbers, u_us=uncertainties)),
        contact_point=draw(
            st.none() | st.builds(ContactPoint, behind_front_mm=st.floats(0, 30), u_behind_front_mm=uncertainties)
        ),
        environment=draw(st.none() | st.builds(Environment, celsius=numbers, u_force_per_kelvin=maybe)),
    )


@given(records())
def test_what_is_written_is_read_back_to_the_last_digit(record: CalibrationRecord) -> None:
    text = record_as_text(record)

    assert record_from_text(text, "x") == record
    assert record_as_text(record_from_text(text, "x")) == text


def test_the_id_is_what_anybody_can_reckon_from_the_file() -> None:
    """By the recipe in `content_id`'s docstring, with json and hashlib alone."""
    plain = json.loads(record_as_text(WHOLE_RECORD))
    stated = plain.pop("id")
    del plain["schema"]
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)

    assert stated == hashlib.sha256(text.encode()).hexdigest()


def test_the_same_number_written_as_a_whole_one_gives_the_same_id() -> None:
    whole, point = (replace(WHOLE_RECORD, skew=Skew(us=us, u_us=10.0)) for us in (7, 7.0))

    assert content_id(whole) == content_id(point) != content_id(WHOLE_RECORD)


def test_spaces_between_do_not_matter() -> None:
    assert record_from_text(json.dumps(record_as_dict(WHOLE_RECORD), indent=7), "x") == WHOLE_RECORD


def test_an_older_record_stays_where_a_newer_one_supersedes_it(tmp_path: Path) -> None:
    first = write_calibration(tmp_path / "a.json", WHOLE_RECORD)
    write_calibration(tmp_path / "b.json", replace(WHOLE_RECORD, supersedes=first))

    with pytest.raises(RecordingExists):
        write_calibration(tmp_path / "a.json", replace(WHOLE_RECORD, note="another"))
    assert read_calibration(tmp_path / "a.json") == WHOLE_RECORD
    assert read_calibration(tmp_path / "b.json").supersedes == first


def test_a_missing_and_a_binary_file_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "b.json").write_bytes(b"\xff\xfe\x00")

    with pytest.raises(NoSuchFile):
        read_calibration(tmp_path / "none.json")
    with pytest.raises(MalformedCalibration, match="no text"):
        read_calibration(tmp_path / "b.json")


Change = Callable[[dict[str, Any]], Any]


def put(value: object, *place: str | int) -> Change:
    def change(plain: dict[str, Any]) -> None:
        inside: Any = plain
        for part in place[:-1]:
            inside = inside[part]
        inside[place[-1]] = value

    return change


ZERO = {"newton": 0.0, "mm": 0.0, "u_mm": 0.0}


@pytest.mark.parametrize(
    ("change", "place", "told"),
    [
        pytest.param(put("keyplumb.calibration/2", "schema"), "schema", "newer keyplumb", id="a newer schema"),
        pytest.param(lambda plain: plain.pop("schema"), "schema", "None", id="no schema"),
        pytest.param(put("other", "operator"), "id", "changed", id="a word changed by hand"),
        pytest.param(lambda plain: plain.pop("id"), "id", "changed", id="no id"),
        pytest.param(lambda plain: plain.pop("rig"), "rig", "required", id="no rig"),
        pytest.param(put("7", "rig", "serial"), "rig.serial", "nexpected", id="a word too many, deep inside"),
        pytest.param(put(1, "weather"), "weather", "nexpected", id="a part that is not known"),
        pytest.param(put("soon", "valid_until"), "valid_until", "datetime", id="no date"),
        pytest.param(put("2025-01-01T00:00:00+00:00", "valid_until"), "", "not after made_at", id="never valid"),
        pytest.param(put("2027-01-01T00:00:00", "valid_until"), "", "time zone", id="no time zone"),
        pytest.param(put("1", "skew", "us"), "skew.us", "number", id="text for a number"),
        pytest.param(put(-1.0, "skew", "u_us"), "skew", "never negative", id="a negative uncertainty"),
        pytest.param(put([1.0], "force", "polynomial", "coefficients"), "force.polynomial", "line", id="a constant"),
        pytest.param(
            put([0.0, 1e-6, 1e-12], "force", "polynomial", "coefficients"),
            "force.polynomial", "covariance", id="a covariance of another size",
        ),
        pytest.param(
            put([[1.0, 2.0], [2.0, 1.0]], "force", "polynomial", "covariance"),
            "force.polynomial", "covariance", id="a correlation over one",
        ),
        pytest.param(
            put([[1.0, 0.2], [0.1, 1.0]], "force", "polynomial", "covariance"),
            "force.polynomial", "covariance", id="a lopsided covariance",
        ),
        pytest.param(put(0.0, "force", "polynomial", "dof"), "force.polynomial", "degrees", id="no degrees of freedom"),
        pytest.param(put([5, 5], "force", "polynomial", "range_counts"), "force.polynomial", "empty", id="no range"),
        pytest.param(put([0.0, 0.0], "force", "polynomial", "coefficients"), "force.polynomial", "turns", id="flat"),
        pytest.param(put("x", "force", "masses"), "force.masses", "array", id="text for masses"),
        pytest.param(put([ZERO], "compliance", "points"), "compliance", "two points", id="one point"),
        pytest.param(
            put([ZERO, {"newton": 1.0, "mm": 0.02, "u_mm": 0.0}, {"newton": 2.0, "mm": 0.01, "u_mm": 0.0}],
                "compliance", "points"),
            "compliance", "give less", id="a rig that gives less under more force",
        ),
        pytest.param(
            put([ZERO, {"newton": -1.0, "mm": 0.02, "u_mm": 0.0}], "compliance", "points"),
            "compliance", "must rise", id="forces that fall",
        ),
        pytest.param(
            put({"behind_front_mm": 10.0, "u_behind_front_mm": 0.5, "lever_mm": 9.0}, "contact_point"),
            "contact_point", "lever ends", id="a lever that is too short",
        ),
    ],
)  # fmt: skip
def test_a_bad_record_is_refused_with_file_place_and_reason(
    change: Change, place: str, told: str, tmp_path: Path
) -> None:
    plain = record_as_dict(WHOLE_RECORD)
    change(plain)
    (tmp_path / "x.json").write_text(json.dumps(plain))

    with pytest.raises(MalformedCalibration) as refused:
        read_calibration(tmp_path / "x.json")

    assert refused.value.place == place
    assert told in str(refused.value)
    assert "x.json" in str(refused.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        pytest.param("", "line 1, column 1", id="empty"),
        pytest.param(record_as_text(WHOLE_RECORD)[:100], "line 3, column 8", id="cut short"),
        pytest.param("[" * 100_000, "nested", id="nested beyond all sense"),
        pytest.param("[1]", "schema", id="a list"),
        pytest.param('{"a": 1, "a": 2}', "twice", id="one name twice"),
        pytest.param(record_as_text(WHOLE_RECORD).replace('"us": 0.0', '"us": NaN'), "skew.us", id="not a number"),
    ],
)
def test_a_text_that_is_no_record_is_refused_by_place(text: str, told: str) -> None:
    with pytest.raises(MalformedCalibration, match=r"x\.json") as refused:
        record_from_text(text, "x.json")
    assert told in str(refused.value)


def with_record(record: CalibrationRecord | None) -> Header:
    header = a_header()
    return replace(header, calibration=replace(header.calibration, record=record))


@pytest.mark.parametrize("record", [None, WHOLE_RECORD], ids=["without", "with"])
def test_a_recording_carries_its_record_and_a_validator_has_no_complaint(
    record: CalibrationRecord | None, tmp_path: Path
) -> None:
    from nexusformat.nexus.validate import validate_file

    write_recording(tmp_path / "r.h5", with_record(record), [a_recording()])

    assert read_recording(tmp_path / "r.h5").header == with_record(record)
    assert validate_file(str(tmp_path / "r.h5")) == (0, 0)


def test_the_copy_in_a_recording_is_the_text_of_the_file(tmp_path: Path) -> None:
    write_recording(tmp_path / "r.h5", with_record(WHOLE_RECORD), [])
    write_calibration(tmp_path / "c.json", WHOLE_RECORD)

    with h5py.File(tmp_path / "r.h5") as file:
        group = {name: data[()].decode() for name, data in file["entry/record/calibration"].items()}
    written = (tmp_path / "c.json").read_bytes()
    assert group["text"].encode() == written
    assert group["sha256"] == hashlib.sha256(written).hexdigest()
    assert group["id"] == content_id(WHOLE_RECORD)


def test_a_copy_that_was_changed_in_a_recording_is_refused(tmp_path: Path) -> None:
    write_recording(tmp_path / "r.h5", with_record(WHOLE_RECORD), [])
    with h5py.File(tmp_path / "r.h5", "r+") as file:
        group = file["entry/record/calibration"]
        text = group["text"][()].decode()
        del group["text"]
        group["text"] = text.replace("2027", "2037")

    with pytest.raises(MalformedRecording, match="calibration record"):
        read_recording(tmp_path / "r.h5")


def test_dates_of_any_time_zone_are_the_same_moment() -> None:
    there = timezone(timedelta(hours=5, minutes=30))
    record = replace(WHOLE_RECORD, made_at=WHOLE_RECORD.made_at.astimezone(there))

    assert record_from_text(record_as_text(record), "x").made_at == WHOLE_RECORD.made_at


def test_a_parabola_has_its_value_slope_and_range() -> None:
    """2 + 3 (n - 10) + 0.5 (n - 10)^2 at n = 12: 2 + 6 + 2 = 10, slope 3 + 2 = 5; at n = 10: 2."""
    parabola = a_polynomial(2.0, 3.0, 0.5, reference=10.0, reach=(10.0, 12.0))

    assert (parabola.at(12.0), parabola.slope_at(12.0), parabola.range()) == (10.0, 5.0, (2.0, 10.0))
