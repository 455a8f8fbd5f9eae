"""Between the link's thread and the survey's: what is kept, under which key, and what no longer is."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from daq.recorder import Recorder
from recordings.keys import Key
from recordings.midi import MidiParser
from recordings.partial import PartialRecording, assemble, begin_recording, partial_folder
from recordings.reader import read_recording
from recordings.types import Damage, RawEvents, RawTrace
from tests.builders import C4, a_header, midi


def samples(first: int, count: int = 10) -> RawTrace:
    number = np.arange(first, first + count, dtype=np.int64)
    return RawTrace(number, number * 1000, number.astype(np.int32), number.astype(np.int32))


def a_recorder(path: Path) -> tuple[Recorder, PartialRecording]:
    recorder, file = Recorder(), begin_recording(path, a_header())
    recorder.open(file)
    return recorder, file


def test_samples_events_and_damage_of_a_key_are_kept_between_its_marks(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    recorder.add(samples(0))
    recorder.begin_key(C4)
    for news in (samples(10), midi((0.02, b"\x90\x3c\x40")), Damage(5, "lost_samples", 3, "why")):
        recorder.add(news)
    recorder.end_stretch("stroke 1")
    recorder.add(samples(20))
    recorder.end_key("return", "recorded")
    recorder.add(samples(30))
    file.finish()
    (key,) = read_recording(tmp_path / "r.h5").keys

    assert key.trace.sample_number.tolist() == list(range(10, 30))
    assert [(mark.name, mark.first_sample, mark.last_sample) for mark in key.marks] == [
        ("stroke 1", 10, 19),
        ("return", 20, 29),
    ]
    assert len(key.events.tick_us) == 3
    assert [damage.kind for damage in key.damage] == ["lost_samples"]
    assert (recorder.sample_count, recorder.damage_count) == (20, 1)


def test_damage_from_before_the_greeting_is_not_the_recordings(tmp_path: Path) -> None:
    recorder, file = Recorder(), begin_recording(tmp_path / "r.h5", a_header())
    recorder.add(Damage(0, "damaged_bytes", 9, "left over in the port"))
    recorder.open(file)
    file.abandon()

    assert recorder.damage_count == 0


def test_a_listener_hears_what_comes_while_it_listens(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    heard: list[RawTrace | RawEvents | Damage] = []
    recorder.add(samples(0))
    with recorder.listening(heard.append):
        recorder.add(samples(10))
    recorder.add(samples(20))
    file.abandon()

    assert [news.sample_number[0] for news in heard if isinstance(news, RawTrace)] == [10]


def test_damage_between_two_keys_is_kept_with_the_next(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    recorder.add(Damage(5, "lost_samples", 3, "on the way to the key"))
    recorder.begin_key(C4)
    recorder.add(samples(0))
    recorder.end_key("return", "recorded")
    file.finish()

    assert [damage.amount for damage in read_recording(tmp_path / "r.h5").keys[0].damage] == [3]


def test_an_attempt_set_aside_is_kept_apart_with_its_reason(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    recorder.begin_key(C4)
    recorder.add(samples(0))
    recorder.set_aside("the cable was pulled")
    recorder.begin_key(C4)
    recorder.add(samples(50))
    recorder.end_key("return", "recorded")
    file.finish()
    (key,) = read_recording(tmp_path / "r.h5").keys

    assert key.trace.sample_number.tolist() == list(range(50, 60))
    assert [(aside.reason, len(aside.attempt.trace)) for aside in key.set_aside] == [("the cable was pulled", 10)]


def test_after_closing_the_link_may_still_speak_and_the_file_may_be_closed(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    recorder.begin_key(C4)
    recorder.add(samples(0))
    recorder.close()
    file.abandon()
    recorder.add(samples(10))

    assert assemble(partial_folder(tmp_path / "r.h5"), tmp_path / "r.h5").rescued_samples == 10


def test_a_status_byte_that_is_said_once_is_known_to_every_later_key(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    recorder.add(midi((0.5, b"\x90")))
    for first, key in ((0, C4), (100, Key(41))):
        recorder.begin_key(key)
        recorder.add(samples(first))
        recorder.add(midi((1.0, bytes([key.note, 64, key.note, 0]))))  # running status (MIDI 1.0)
        recorder.end_key("return", "recorded")
    file.finish()

    for recording in read_recording(tmp_path / "r.h5").keys:
        notes = MidiParser().feed(recording.events.tick_us.tolist(), recording.events.byte.tolist())
        assert [(note.note, note.on) for note in notes] == [(recording.key.note, True), (recording.key.note, False)]
        assert recording.events.tick_us[0] == 500_000  # when it came


def test_a_system_message_cancels_the_status_byte_in_force(tmp_path: Path) -> None:
    recorder, file = a_recorder(tmp_path / "r.h5")
    recorder.add(midi((0.5, b"\x90\xf6")))
    recorder.begin_key(C4)
    recorder.add(samples(0))
    recorder.end_key("return", "recorded")
    file.finish()

    assert len(read_recording(tmp_path / "r.h5").keys[0].events.tick_us) == 0
