"""A recording under way: stopped at any point, every finished stretch and every whole record is there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from keyplumb.__main__ import main
from recordings.errors import NotARecording, NotYetARecording, RecordingExists, RecordingInUse
from recordings.journal import Journal, read_journal
from recordings.keys import Key
from recordings.partial import assemble, begin_recording, partial_folder
from recordings.reader import read_recording
from recordings.types import KeyRecording, Mark, RawTrace
from tests.builders import C4, a_header, midi

NOTHING = midi()


def samples(first: int, count: int, key: Key = C4) -> KeyRecording:
    number = np.arange(first, first + count, dtype=np.int64)
    counts = number.astype(np.int32)
    return KeyRecording(key, RawTrace(number, number * 1000, counts, counts + 1), NOTHING)


def test_a_finished_recording_holds_everything_and_the_folder_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    recording = begin_recording(path, a_header())
    for first in (0, 100):
        recording.note(samples(first, 100))
        recording.note(
            replace(samples(0, 0), events=midi((1.0, b"\x90\x3c\x40")), marks=(Mark("s", first, first + 99),))
        )
        recording.keep(recording.turn_over())
    recording.finish()
    read = read_recording(path)

    assert read.complete
    assert read.keys[0].trace.sample_number.tolist() == list(range(200))
    assert [mark.first_sample for mark in read.keys[0].marks] == [0, 100]
    assert len(read.keys[0].events.tick_us) == 6
    assert not partial_folder(path).exists()


def test_the_newest_key_can_be_read_while_the_recording_goes_on(tmp_path: Path) -> None:
    recording = begin_recording(tmp_path / "r.h5", a_header())
    for first, key in ((0, Key(39)), (100, C4), (200, C4)):
        recording.note(samples(first, 50, key))
        recording.keep(recording.turn_over())
    recording.set_aside(C4, "once more")
    recording.note(samples(300, 30))
    recording.keep(recording.turn_over())
    recording.note(samples(330, 20))
    newest = recording.newest(C4)
    recording.finish()

    assert newest.trace.sample_number.tolist() == list(range(300, 350))
    assert [len(aside.attempt.trace) for aside in newest.set_aside] == [100]
    assert newest.trace.sample_number.tolist() == read_recording(recording.path).keys[1].trace.sample_number.tolist()


def test_a_recording_that_was_stopped_early_says_that_it_is_not_complete(tmp_path: Path) -> None:
    recording = begin_recording(tmp_path / "r.h5", a_header())
    recording.note(samples(0, 100))
    recording.stopped_early = True
    recording.finish()

    assert not read_recording(tmp_path / "r.h5").complete
    assert not partial_folder(tmp_path / "r.h5").exists()


def test_an_interrupted_recording_keeps_finished_stretches_and_the_journal(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    recording = begin_recording(path, a_header())
    recording.note(samples(0, 100))
    recording.keep(recording.turn_over())
    recording.note(samples(100, 30))
    recording.abandon()
    found = assemble(partial_folder(path), path)
    read = read_recording(path)

    assert (found.finished_stretches, found.rescued_samples) == (1, 30)
    assert not read.complete
    assert read.keys[0].trace.sample_number.tolist() == list(range(130))


def test_whoever_reads_too_early_is_told_of_resume_and_repair(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "r.h5"
    recording = begin_recording(path, a_header())
    recording.note(samples(0, 100))
    recording.keep(recording.turn_over())
    recording.abandon()

    for name in (path, partial_folder(path)):
        with pytest.raises(NotYetARecording) as told:
            read_recording(name)
        assert f"`keyplumb resume {path} --port PORT`" in str(told.value)
        assert f"`keyplumb repair {partial_folder(path)}`" in str(told.value)
    assert main(["repair", str(path)]) == 0  # by the recording's name, as `resume` takes it
    assert capsys.readouterr().out.startswith(f"{path}: ")
    assert len(read_recording(path).keys) == 1


def test_two_keys_stay_two_keys(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    recording = begin_recording(path, a_header())
    for key in (Key(40), Key(3)):
        recording.note(samples(0, 10, key))
        recording.keep(recording.turn_over())
    recording.finish()

    assert [key.key.number for key in read_recording(path).keys] == [3, 40]


def test_a_recording_under_way_is_not_begun_twice(tmp_path: Path) -> None:
    first = begin_recording(tmp_path / "r.h5", a_header())

    with pytest.raises(RecordingExists):
        begin_recording(tmp_path / "r.h5", a_header())
    first.abandon()


def test_a_recording_that_still_grows_is_not_taken_apart(tmp_path: Path) -> None:
    recording = begin_recording(tmp_path / "r.h5", a_header())
    recording.note(samples(0, 10))

    with pytest.raises(RecordingInUse):
        assemble(partial_folder(tmp_path / "r.h5"), tmp_path / "r.h5")
    recording.finish()
    assert len(read_recording(tmp_path / "r.h5").keys[0].trace) == 10


def test_any_other_folder_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()

    with pytest.raises(NotARecording):
        assemble(tmp_path / "mine", tmp_path / "r.h5")
    assert (tmp_path / "mine").is_dir()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.data())
def test_a_journal_torn_anywhere_gives_back_all_whole_records(tmp_path: Path, data: st.DataObject) -> None:
    records = data.draw(st.lists(st.tuples(st.integers(1, 4), st.binary(max_size=50)), max_size=8))
    journal = Journal(tmp_path / "journal")
    ends = [0]
    for kind, payload in records:
        journal.append(kind, payload)
        ends.append((tmp_path / "journal").stat().st_size)
    journal.close()
    written = (tmp_path / "journal").read_bytes()
    cut = data.draw(st.integers(0, len(written)))
    (tmp_path / "journal").write_bytes(written[:cut])

    whole = sum(end <= cut for end in ends) - 1
    assert list(read_journal(tmp_path / "journal")) == records[:whole]


def test_a_bent_record_ends_the_journal(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "journal")
    for payload in (b"first", b"second"):
        journal.append(1, payload)
    journal.close()
    bent = bytearray((tmp_path / "journal").read_bytes())
    bent[-1] ^= 1
    (tmp_path / "journal").write_bytes(bent)

    assert list(read_journal(tmp_path / "journal")) == [(1, b"first")]
