"""A survey through a real pseudo-terminal, with the virtual rig as a thread at the far end."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from daq.errors import CommandRefused, PortNotFound, RigSilent, WrongRig
from daq.survey import Where, run_survey
from daq.talk import Progress, Watch
from recordings.calibration_file import write_calibration
from recordings.calibration_record import CalibrationRecord, RigIdentity
from recordings.errors import NothingToResume, RecordingExists, RecordingInUse, SurveyUnderWay
from recordings.partial import assemble, partial_folder
from recordings.reader import read_recording
from recordings.types import KeyRecording
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from tests.builders import WHOLE_RECORD
from tests.daq.rigs import KEYS, a_plan, a_rig, a_virtual_rig, resume, silent_talk, survey


@pytest.mark.parametrize("tcp_port", [None, 0], ids=["pseudo-terminal", "TCP"])
def test_every_sample_of_every_stroke_is_in_the_file(tcp_port: int | None, tmp_path: Path) -> None:
    seen: list[Progress] = []
    with a_rig(tcp_port) as port:
        result = survey(port, tmp_path / "r.h5", a_plan("C4..D4"), seen.append)
    recording = read_recording(tmp_path / "r.h5")

    assert [key.key.name for key in recording.keys] == ["C4", "C#4", "D4"]
    assert recording.complete
    assert result.damage_count == 0
    for key in recording.keys:
        assert (np.diff(key.trace.sample_number) == 1).all()
        assert (np.diff(key.trace.tick_us) == 1000).all()
        assert [mark.name for mark in key.marks] == ["stroke 1", "return"]
        assert bytes([0x90, key.key.note]) in key.events.byte.tobytes()
    assert sum(len(key.trace) for key in recording.keys) == result.sample_count
    assert [(progress.key.name, progress.doing) for progress in seen[:3]] == [
        ("C4", "approach"),
        ("C4", "stroke 1 of 1"),
        ("C#4", "approach"),
    ]
    assert seen[-1].seconds_left is not None


def test_the_plunger_goes_no_further_than_the_force_limit(tmp_path: Path) -> None:
    with a_rig() as port:
        survey(port, tmp_path / "r.h5")
    recording = read_recording(tmp_path / "r.h5")
    scale = recording.header.calibration.force
    force = recording.keys[0].trace.force_counts / scale.counts_per_unit

    assert 4.0 < force.max() - force[:100].mean() < 4.5


def test_a_survey_that_is_interrupted_keeps_what_was_finished(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"

    def interrupt(progress: Progress) -> None:
        if progress.key.name == "D4" and progress.doing.startswith("stroke"):
            raise KeyboardInterrupt

    with a_rig() as port, pytest.raises(KeyboardInterrupt):
        survey(port, path, a_plan("C4..D4"), interrupt)
    assert not path.exists()
    found = assemble(partial_folder(path), path)
    recording = read_recording(path)

    assert found.finished_stretches == 4
    assert not recording.complete
    assert [key.key.name for key in recording.keys][:2] == ["C4", "C#4"]
    assert len(recording.keys[1].marks) == 2


def test_a_rig_that_falls_silent_ends_the_survey_and_leaves_the_finished_strokes(tmp_path: Path) -> None:
    stop = threading.Event()

    def silence(progress: Progress) -> None:
        if progress.key.name == "C#4" and progress.doing.startswith("stroke"):
            stop.set()

    with a_rig(stop=stop) as port, pytest.raises(RigSilent):
        survey(port, tmp_path / "r.h5", a_plan("C4..D4"), silence)
    assert partial_folder(tmp_path / "r.h5").is_dir()


def test_a_refused_command_says_which_and_why(tmp_path: Path) -> None:
    too_deep = replace(KEYS[39], surface_mm=3.0)

    with a_rig(keys=(too_deep,)) as port, pytest.raises(CommandRefused, match="out of range"):
        survey(port, tmp_path / "r.h5", a_plan("C#4"))


def test_a_key_that_is_not_there_is_missed_and_the_next_is_recorded(tmp_path: Path) -> None:
    lifted = tuple(replace(key, surface_mm=60.0) if key.number == 40 else key for key in KEYS)

    with a_rig(keys=lifted) as port:
        result = survey(port, tmp_path / "r.h5", a_plan("C4,C#4"))
    assert [key.name for key in result.missed] == ["C4"]
    assert [key.name for key in result.recorded] == ["C#4"]


def test_nothing_is_touched_when_the_file_exists(tmp_path: Path) -> None:
    (tmp_path / "r.h5").write_bytes(b"precious")

    with pytest.raises(RecordingExists):
        survey("/dev/null", tmp_path / "r.h5")


def test_a_wrong_port_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(PortNotFound):
        survey("/dev/none", tmp_path / "r.h5")
    assert list(tmp_path.iterdir()) == []


def interrupt_at(key: str, doing: str):  # type: ignore[no-untyped-def]
    def interrupt(progress: Progress) -> None:
        if progress.key.name == key and progress.doing.startswith(doing):
            raise KeyboardInterrupt

    return interrupt


def test_an_interrupted_survey_is_gone_on_with_where_it_stood(tmp_path: Path) -> None:
    path, seen = tmp_path / "r.h5", []
    with a_rig() as port:
        with pytest.raises(KeyboardInterrupt):
            survey(port, path, a_plan("C4..E4"), interrupt_at("D4", "stroke"))
        result = resume(port, path, seen.append)
    recording = read_recording(path)

    assert recording.complete
    assert [key.key.name for key in recording.keys] == ["C4", "C#4", "D4", "D#4", "E4"]
    assert seen[0].key.name == "D4"
    assert [aside.reason for aside in recording.keys[2].set_aside] == ["the recording was interrupted"]
    assert all(len(key.marks) == 2 for key in recording.keys)
    assert len(result.recorded) == 5
    told = [entry.kind for entry in recording.diary if entry.kind != "clock"]  # a fit needs some seconds
    assert told == ["plan", "calibration", "resumed", "finished"]
    assert not partial_folder(path).exists()


def test_a_survey_may_be_interrupted_again_and_again(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    with a_rig() as port:
        with pytest.raises(KeyboardInterrupt):
            survey(port, path, a_plan("C4..E4"), interrupt_at("C4", "approach"))
        for key in ("C#4", "D4", "D4"):
            with pytest.raises(KeyboardInterrupt):
                resume(port, path, interrupt_at(key, "stroke"))
        resume(port, path)
    recording = read_recording(path)

    assert recording.complete
    assert [len(key.set_aside) for key in recording.keys] == [0, 1, 2, 0, 0]


def test_a_survey_is_gone_on_with_on_the_same_rig_only(tmp_path: Path) -> None:
    with a_rig() as port, pytest.raises(KeyboardInterrupt):
        survey(port, tmp_path / "r.h5", a_plan("C4..E4"), interrupt_at("D4", "stroke"))
    other = VirtualRig(KEYS, RigSpec(serial_number="V-0002"))

    with a_rig(rig=other) as port, pytest.raises(WrongRig, match="V-0002 answers"):
        resume(port, tmp_path / "r.h5")
    assert partial_folder(tmp_path / "r.h5").is_dir()


def test_there_must_be_something_to_go_on_with(tmp_path: Path) -> None:
    with pytest.raises(NothingToResume, match="no survey under way"):
        resume("/dev/none", tmp_path / "r.h5")
    (tmp_path / "r.h5").touch()
    with pytest.raises(NothingToResume, match="finished already"):
        resume("/dev/none", tmp_path / "r.h5")


def test_a_survey_under_way_is_not_gone_on_with_by_a_second_program(tmp_path: Path) -> None:
    tried: list[Exception] = []

    def try_at_once(_: Progress) -> None:
        try:
            resume("/dev/none", tmp_path / "r.h5")
        except RecordingInUse as refusal:
            tried.append(refusal)

    with a_rig() as port:
        survey(port, tmp_path / "r.h5", on_progress=try_at_once)
    assert len(tried) == 2


def test_a_wrong_port_on_resuming_leaves_the_folder_to_be_resumed(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    with a_rig() as port, pytest.raises(KeyboardInterrupt):
        survey(port, path, a_plan("C4,C#4"), interrupt_at("C#4", "stroke"))
    kept = {file.name: file.read_bytes() for file in partial_folder(path).iterdir()}
    with pytest.raises(PortNotFound):
        resume("/dev/none", path)
    assert kept.items() <= {file.name: file.read_bytes() for file in partial_folder(path).iterdir()}.items()
    with a_rig() as port:
        with pytest.raises(SurveyUnderWay, match="keyplumb resume"):
            survey(port, path)
        resume(port, path)
    assert read_recording(path).complete


def a_record_of(rig: VirtualRig, folder: Path) -> CalibrationRecord:
    """Write a record of a virtual rig that is valid on the day of the tests' surveys."""
    record = replace(WHOLE_RECORD, rig=RigIdentity(model=rig.spec.model, serial_number=rig.spec.serial_number))
    folder.mkdir(exist_ok=True)
    write_calibration(folder / "mine.json", record)
    return record


def test_the_rigs_own_record_beside_the_recording_is_copied_into_it(tmp_path: Path) -> None:
    rig = a_virtual_rig()
    record = a_record_of(rig, tmp_path / "calibrations")
    write_calibration(tmp_path / "calibrations" / "other.json", WHOLE_RECORD)
    with a_rig(rig=rig) as port:
        survey(port, tmp_path / "r.h5")
    recording = read_recording(tmp_path / "r.h5")

    assert recording.header.calibration.record == record
    (said,) = [entry.text for entry in recording.diary if entry.kind == "calibration"]
    assert "calibrated by mine.json" in said
    assert "other.json is of a rig 1" in said


def test_a_resumed_survey_keeps_the_record_that_it_was_begun_with(tmp_path: Path) -> None:
    rig = a_virtual_rig()
    record = a_record_of(rig, tmp_path / "calibrations")
    with a_rig(rig=rig) as port:
        with pytest.raises(KeyboardInterrupt):
            survey(port, tmp_path / "r.h5", a_plan("C4, C#4"), interrupt_at("C#4", "stroke"))
        newer = replace(record, made_at=record.made_at + timedelta(days=1))
        write_calibration(tmp_path / "calibrations" / "newer.json", newer)
        resume(port, tmp_path / "r.h5")

    assert read_recording(tmp_path / "r.h5").header.calibration.record == record


def test_a_recording_without_a_record_says_that_it_has_none(tmp_path: Path) -> None:
    with a_rig() as port:
        survey(port, tmp_path / "r.h5")
    recording = read_recording(tmp_path / "r.h5")

    assert recording.header.calibration.record is None
    assert any("marked uncalibrated" in entry.text for entry in recording.diary if entry.kind == "calibration")


def test_who_watches_sees_every_key_and_may_say_that_it_is_enough(tmp_path: Path) -> None:
    seen: list[KeyRecording] = []

    def enough() -> str | None:
        return "D4 is bad" if seen[-1].key.name == "C#4" else None

    watch = Watch(key_done=lambda _, recording: seen.append(recording), enough=enough)
    with a_rig() as port:
        where = Where(port_path=port, out=tmp_path / "r.h5", patience_s=0.5)
        result = run_survey(where, a_plan("C4..E4"), silent_talk(), watch)
    read = read_recording(tmp_path / "r.h5")

    assert [key.name for key in result.recorded] == ["C4", "C#4"]
    assert not read.complete
    assert [entry.text for entry in read.diary if entry.kind == "stopped"] == [
        "stopped early, 2 of 5 keys done: D4 is bad"
    ]
    for watched, kept in zip(seen, read.keys, strict=True):
        assert watched.marks == kept.marks
        assert np.array_equal(watched.trace.force_counts, kept.trace.force_counts)


def test_a_survey_that_was_watched_to_its_last_key_is_complete(tmp_path: Path) -> None:
    watch = Watch(key_done=lambda _, __: None, enough=lambda: "the last one is bad")
    with a_rig() as port:
        run_survey(Where(port_path=port, out=tmp_path / "r.h5"), a_plan(), silent_talk(), watch)

    assert read_recording(tmp_path / "r.h5").complete
