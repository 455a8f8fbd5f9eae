"""A recording on disk: what goes in comes out, a stranger's viewer can plot it, nothing is overwritten."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest

from recordings.errors import MalformedRecording, NoSuchFile, NotARecording, RecordingExists
from recordings.keys import Key
from recordings.reader import open_recording, read_recording
from recordings.types import Damage, KeyRecording, Mark, RawTrace
from recordings.writer import write_recording
from tests.builders import C4, a_header, a_recording, midi

EVENTS = midi((1.0, b"\x90\x3c\x40"), (2.0, b"\x80\x3c\x40"))


def a_full_recording() -> KeyRecording:
    return replace(
        a_recording(events=EVENTS),
        marks=(Mark("stroke 1", 0, 99), Mark("return", 100, 120)),
        damage=(Damage(5, "lost_samples", 3, "3 missing before number 7"),),
    )


def same(one: KeyRecording, other: KeyRecording) -> bool:
    arrays = [
        (getattr(getattr(one, part), name), getattr(getattr(other, part), name))
        for part, names in (
            ("trace", ("sample_number", "tick_us", "force_counts", "displacement_counts")),
            ("events", ("tick_us", "source", "byte")),
        )
        for name in names
    ]
    equal = all(np.array_equal(a, b) and a.dtype == b.dtype for a, b in arrays)
    return equal and (one.key, one.marks, one.damage) == (other.key, other.marks, other.damage)


def test_what_is_written_is_read_back_to_the_last_count(tmp_path: Path) -> None:
    header, key = a_header(), a_full_recording()
    write_recording(tmp_path / "r.h5", header, (key,))
    read = read_recording(tmp_path / "r.h5")

    assert read.header == header
    assert read.complete
    assert same(read.keys[0], key)


def test_absent_facts_stay_absent(tmp_path: Path) -> None:
    write_recording(tmp_path / "r.h5", a_header(), (a_recording(),))

    assert read_recording(tmp_path / "r.h5").header.run.room_celsius is None


def test_a_recording_of_before_there_were_serial_numbers_is_of_an_unnamed_unit(tmp_path: Path) -> None:
    header = a_header()
    write_recording(tmp_path / "r.h5", replace(header, run=replace(header.run, serial="moss-001")), (a_recording(),))
    with h5py.File(tmp_path / "r.h5", "r+") as file:
        del file["entry/record/unit_serial"]

    assert read_recording(tmp_path / "r.h5").header == header


def test_keys_come_back_from_bass_to_treble(tmp_path: Path) -> None:
    keys = [a_recording(name=Key(number)) for number in (40, 3)]
    write_recording(tmp_path / "r.h5", a_header(), keys)

    with open_recording(tmp_path / "r.h5") as opened:
        assert [key.number for key in opened.keys] == [3, 40]
        assert [recording.key.number for recording in opened.read_keys()] == [3, 40]


def test_a_recording_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    path.write_bytes(b"precious")

    with pytest.raises(RecordingExists):
        write_recording(path, a_header(), ())
    assert path.read_bytes() == b"precious"


def test_a_write_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    def keys():  # type: ignore[no-untyped-def]
        yield a_recording()
        raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        write_recording(tmp_path / "r.h5", a_header(), keys())
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(NoSuchFile, match="nowhere"):
        write_recording(tmp_path / "nowhere" / "r.h5", a_header(), ())


def test_a_validator_of_the_open_standard_has_no_complaint_and_finds_the_plot(tmp_path: Path) -> None:
    """nexusformat's validator knows the NeXus base classes; plottable_data follows the chain of `default`."""
    from nexusformat.nexus import nxload
    from nexusformat.nexus.validate import validate_file

    path = tmp_path / "r.h5"
    known = replace(a_header().run, operator="a person", note="a word", room_celsius=21.0, room_humidity_percent=40.0)
    known = replace(known, note_latency_bound_ms=7.5, serial="moss-001")
    write_recording(path, replace(a_header(), run=known), (a_full_recording(),))

    assert validate_file(str(path)) == (0, 0)
    assert read_recording(path).header.run == known
    plot = nxload(str(path)).plottable_data
    assert plot.nxpath == "/entry/key_40"
    assert plot.nxsignal.nxname == "force_counts"
    assert [axis.nxname for axis in plot.nxaxes] == ["displacement_counts"]


@pytest.mark.parametrize("content", [b"", b"no HDF5 at all", b"\x89HDF\r\n\x1a\n" + bytes(40)])
def test_a_file_of_another_kind_is_told_from_a_recording(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "x.h5"
    path.write_bytes(content)

    with pytest.raises(NotARecording, match=r"x\.h5"), open_recording(path):
        pass


def test_a_recording_that_was_cut_short_is_told_from_another_kind_of_file(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    write_recording(path, a_header(), (a_recording(),))
    path.write_bytes(path.read_bytes()[:3000])

    with pytest.raises(NotARecording, match="cut short"), open_recording(path):
        pass


def test_an_hdf5_file_of_somebody_else_is_told_from_a_recording(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "x.h5", "w") as file:
        file["entry/data"] = [1, 2, 3]

    with pytest.raises(NotARecording, match="schema"), open_recording(tmp_path / "x.h5"):
        pass


def test_a_folder_and_a_missing_file_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(NotARecording, match="folder"), open_recording(tmp_path):
        pass
    with pytest.raises(NoSuchFile), open_recording(tmp_path / "x.h5"):
        pass


def test_a_recording_with_a_column_missing_names_the_key(tmp_path: Path) -> None:
    write_recording(tmp_path / "r.h5", a_header(), (a_recording(),))
    with h5py.File(tmp_path / "r.h5", "r+") as file:
        del file["entry/key_40/force_counts"]

    with open_recording(tmp_path / "r.h5") as opened, pytest.raises(MalformedRecording, match="C4"):
        opened.read_key(C4)


def test_columns_of_unequal_length_are_refused() -> None:
    with pytest.raises(MalformedRecording, match="unequal"):
        RawTrace(np.arange(3), np.arange(3), np.arange(2, dtype=np.int32), np.arange(3, dtype=np.int32))


def test_arrays_of_a_trace_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        a_recording().trace.force_counts[0] = 1
