"""Notes from bytes: facts of MIDI 1.0 (IEC 63035:2017), and their places on the way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from processing.notes import NoteLog, notes_of_stroke, stuck_notes, to_notes
from processing.stages import Branch, Stroke
from recordings.types import CONTACT, HOST_MIDI, MIDI_IN, RawEvents
from tests.builders import C4, midi

ON, OFF = b"\x90\x3c\x40", b"\x80\x3c\x40"


def notes_in(*said: tuple[float, bytes]) -> NoteLog:
    return to_notes(midi(*said), C4, first_tick_us=0)


def test_a_note_on_and_a_note_off_make_a_note() -> None:
    (note,) = notes_in((1.0, ON), (2.0, OFF)).notes

    assert (note.on_s, note.velocity, note.off_s) == (1.0, 64, 2.0)


def test_a_note_on_with_velocity_0_is_a_note_off() -> None:
    (note,) = notes_in((1.0, ON), (2.0, b"\x90\x3c\x00")).notes

    assert note.off_s == 2.0


def test_under_running_status_the_status_byte_is_left_out() -> None:
    first, second = notes_in((1.0, ON), (2.0, b"\x3c\x00"), (3.0, b"\x3c\x50"), (4.0, b"\x3c\x00")).notes

    assert (first.on_s, first.off_s) == (1.0, 2.0)
    assert (second.on_s, second.velocity, second.off_s) == (3.0, 80, 4.0)


def test_a_realtime_byte_may_stand_anywhere() -> None:
    (note,) = notes_in((1.0, b"\x90\x3c"), (1.1, b"\xf8"), (1.2, b"\x40"), (2.0, OFF)).notes

    assert note.on_s == 1.0


def test_other_messages_are_passed_over() -> None:
    log = notes_in((0.5, b"\xc0\x05"), (0.6, b"\xb0\x40\x7f"), (0.7, b"\xf0\x01\x02\xf7"), (1.0, ON))

    assert len(log.notes) == 1
    assert log.stray == 0


def test_a_byte_without_status_is_no_note() -> None:
    assert not notes_in((1.0, b"\x3c\x40")).heard


def test_the_note_of_another_key_is_stray() -> None:
    log = notes_in((1.0, b"\x90\x3d\x40"))

    assert (log.notes, log.stray) == ((), 1)


def test_the_keys_own_note_on_another_channel_than_its_first_is_stray() -> None:
    log = notes_in((1.0, ON), (1.001, b"\x91\x3c\x40"), (1.5, b"\x81\x3c\x40"), (2.0, OFF))

    assert [(note.on_s, note.off_s) for note in log.notes] == [(1.0, 2.0)]
    assert (log.stray, log.doubled) == (1, 0)


def test_a_high_resolution_velocity_is_kept_with_its_fraction() -> None:
    (note,) = notes_in((1.0, b"\xb0\x58\x40" + ON)).notes

    assert note.velocity == 64.5


def test_bytes_without_a_status_are_counted() -> None:
    assert notes_in((1.0, b"\x3c\x40"), (2.0, ON)).orphan_bytes == 2


def both(*logs: RawEvents) -> RawEvents:
    return RawEvents(*(np.concatenate([getattr(log, name) for log in logs]) for name in ("tick_us", "source", "byte")))


def test_the_hosts_midi_port_is_read_where_the_rigs_own_tells_of_no_note() -> None:
    host, clock = midi((1.0, ON), source=HOST_MIDI), midi((0.5, b"\xf8"), source=MIDI_IN)
    (note,) = to_notes(both(clock, host), C4, first_tick_us=0).notes

    assert note.on_s == 1.0


def test_the_rigs_own_midi_input_goes_before_the_hosts() -> None:
    events = both(midi((1.0, ON), source=MIDI_IN), midi((1.007, ON), source=HOST_MIDI))
    (note,) = to_notes(events, C4, first_tick_us=0).notes

    assert note.on_s == 1.0


def test_a_note_that_comes_twice_is_doubled() -> None:
    assert notes_in((1.0, ON), (1.1, ON), (2.0, OFF)).doubled == 1


def test_contact_edges_make_notes_where_there_is_no_midi() -> None:
    events = RawEvents(np.array([1_000_000, 2_000_000]), np.array([CONTACT] * 2, np.uint8), np.array([1, 0], np.uint8))
    (note,) = to_notes(events, C4, first_tick_us=500_000).notes

    assert (note.on_s, note.velocity, note.off_s) == (0.5, None, 1.5)


def a_stroke(speed: float = 4.0, *, starts_s: float = 0.0, newton: float = 0.3, up_to_mm: float = 0.0) -> Stroke:
    """Down from 0 to 10 mm, then up, at one speed and with one force."""
    time = starts_s + np.arange(0.0, 10.0 / speed, 0.001)
    down = Branch(time, speed * (time - starts_s), np.full(len(time), newton))
    back = 10.0 - speed * (time - starts_s)
    rises = back >= up_to_mm
    up = Branch(time[rises] + 10.0 / speed, back[rises], np.full(rises.sum(), newton))
    return Stroke(down, up, 0.0, 0.0, 0.0, False, 10.0)


@pytest.mark.parametrize("speed", [1.0, 4.0, 20.0])
def test_a_note_is_placed_where_the_plunger_was(speed: float) -> None:
    stroke = a_stroke(speed)
    assert stroke.up is not None
    off_s = float(stroke.up.time_s[0]) + 6.0 / speed
    places = notes_of_stroke(stroke, notes_in((8.0 / speed, ON), (off_s, OFF)))

    assert places.trigger_mm == pytest.approx(8.0, abs=0.001)
    assert places.release_mm == pytest.approx(4.0, abs=0.001)
    assert places.speed_at_trigger_mm_per_s == pytest.approx(speed, rel=0.01)


def test_a_stroke_without_a_note_has_no_places() -> None:
    assert notes_of_stroke(a_stroke(), notes_in((99.0, ON))).trigger_mm is None


# A stroke at 4 mm/s is down after 2.5 s and home after 5.0 s; the note of these is struck at 2.0 s.
def stuck(*said: tuple[float, bytes], strokes: tuple[Stroke, ...] = (), until_s: float = 6.0) -> list[tuple[int, int]]:
    return stuck_notes(notes_in(*said), strokes or (a_stroke(),), recorded_until_s=until_s)


def test_a_note_that_goes_on_after_its_key_came_home_is_stuck() -> None:
    assert stuck((2.0, ON)) == [(0, 1)]


@pytest.mark.parametrize(
    ("why", "found"),
    [
        ("it ended", stuck((2.0, ON), (4.0, OFF))),
        ("it ended late", stuck((2.0, ON), (5.9, OFF))),
        ("the recording was cut short", stuck((2.0, ON), until_s=5.4)),
        ("the plunger did not come home", stuck((2.0, ON), strokes=(a_stroke(up_to_mm=2.0),))),
        ("the key stayed down", stuck((2.0, ON), strokes=(a_stroke(newton=0.0),))),
        ("the key was never let up", stuck((2.0, ON), strokes=(replace(a_stroke(), up=None),))),
        ("it belongs to no stroke", stuck((5.2, ON))),
        ("it bounced, then ended", stuck((2.0, ON), (2.1, ON), (4.0, OFF))),
    ],
)
def test_a_note_is_not_called_stuck_if(why: str, found: list[tuple[int, int]]) -> None:
    assert found == [], why


def test_a_note_that_the_next_stroke_finds_sounding_is_stuck_each_time() -> None:
    strokes = (a_stroke(), a_stroke(starts_s=6.0))

    assert stuck((2.0, ON), (8.0, ON), strokes=strokes, until_s=12.0) == [(0, 1), (1, 2)]
