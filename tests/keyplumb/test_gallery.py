"""`keyplumb gallery`: pictures of the keys wanted, and one sentence where there are none."""

from __future__ import annotations

from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import a_header, a_recording
from tests.keyplumb.test_commands import a_file, run


def test_gallery_draws_the_keys_wanted_and_names_the_files(tmp_path, capsys):
    recording = a_file(tmp_path / "fern.h5", keys=3)

    assert run("gallery", recording, "--keys", "C#4") == 0

    told = capsys.readouterr()
    assert told.out.split() == [str(tmp_path / "fern-gallery" / "Cs4.png")]
    assert (tmp_path / "fern-gallery" / "Cs4.png").stat().st_size > 10_000
    assert "1 keys drawn" in told.err


def test_gallery_of_a_key_that_was_not_recorded_names_it_and_draws_nothing(tmp_path, capsys):
    recording = tmp_path / "fern.h5"
    write_recording(recording, a_header(), [a_recording(name=Key(40))])

    assert run("gallery", recording, "--keys", "A0", "--out", tmp_path / "pictures") == 3

    assert "holds no A0" in capsys.readouterr().err
    assert not (tmp_path / "pictures").exists()


def test_gallery_replaces_its_own_pictures_and_nobody_elses(tmp_path, capsys):
    recording, pictures = a_file(tmp_path / "fern.h5"), tmp_path / "pictures"
    pictures.mkdir()
    (pictures / "C4.png").write_bytes(b"\x89PNG of a holiday")

    assert run("gallery", recording, "--out", pictures) == 3
    assert "left alone; it is nothing that keyplumb drew" in capsys.readouterr().err
    (pictures / "C4.png").unlink()
    assert [run("gallery", recording, "--out", pictures) for _ in range(2)] == [0, 0]
