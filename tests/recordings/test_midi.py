"""Note messages from bytes: facts of MIDI 1.0 (IEC 63035:2017) and CA-031, however the bytes may arrive."""

from __future__ import annotations

from itertools import pairwise

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings.midi import MidiParser, NoteMessage

ON, OFF = b"\x90\x3c\x40", b"\x80\x3c\x40"


def read(received: bytes) -> list[NoteMessage]:
    """Bytes that arrive one every 320 us, the first at 0."""
    return MidiParser().feed(range(0, 320 * len(received), 320), received)


def velocities(received: bytes) -> list[float | None]:
    return [note.velocity for note in read(received)]


def test_a_note_is_stamped_with_its_first_byte_and_carries_all_that_the_bytes_say() -> None:
    assert read(b"\xf8" + b"\x93\x3c\x40") == [NoteMessage(320, 3, 60, True, 64.0)]
    assert read(b"\x83\x3c\x11") == [NoteMessage(0, 3, 60, False, 17.0)]


def test_a_note_on_with_velocity_0_is_a_note_off_that_tells_no_velocity() -> None:
    assert read(b"\x90\x3c\x00") == [NoteMessage(0, 0, 60, False, None)]


def test_under_running_status_a_message_begins_with_its_first_data_byte() -> None:
    assert read(ON + b"\x3c\x00") == [
        NoteMessage(0, 0, 60, True, 64.0),
        NoteMessage(3 * 320, 0, 60, False, None),
    ]


def test_mido_alone_forgets_running_status_which_is_why_we_keep_it() -> None:
    assert len(mido.parse_all(ON + b"\x3c\x00")) == 1
    assert len(read(ON + b"\x3c\x00")) == 2


@pytest.mark.parametrize("realtime", [b"\xf8", b"\xfa", b"\xfe", b"\xff", b"\xf9"])
def test_a_realtime_byte_may_stand_inside_a_message_and_under_running_status(realtime: bytes) -> None:
    received = b"\x90\x3c" + realtime + b"\x40" + realtime + b"\x3c" + realtime + b"\x00"

    assert [note.on for note in read(received)] == [True, False]


@pytest.mark.parametrize(
    "system",
    [
        pytest.param(b"\xf0\x01\x02\xf7", id="system exclusive"),
        pytest.param(b"\xf1\x05", id="quarter frame"),
        pytest.param(b"\xf2\x01\x02", id="song position"),
        pytest.param(b"\xf3\x01", id="song select"),
        pytest.param(b"\xf6", id="tune request"),
        pytest.param(b"\xf4", id="undefined"),
    ],
)
def test_system_messages_cancel_running_status(system: bytes) -> None:
    assert len(read(ON + system + b"\x3c\x00")) == 1
    assert len(read(ON + system + OFF)) == 2


def test_a_message_that_another_one_cuts_short_is_no_note() -> None:
    assert read(b"\x90\x3c" + OFF) == [NoteMessage(2 * 320, 0, 60, False, 64.0)]


def test_messages_with_one_data_byte_keep_the_count() -> None:
    assert len(read(b"\xc0\x05\x06" + b"\xd0\x07" + ON)) == 1


def test_data_before_any_status_is_counted_not_guessed_at() -> None:
    parser = MidiParser()

    assert parser.feed(range(4), b"\x3c\x40\x3c\x00") == []
    assert parser.orphan_bytes == 4
    parser.feed(range(4), b"\xf0\x01\x02\xf7")
    parser.feed(range(1), b"\x11")
    assert parser.orphan_bytes == 4


def test_the_status_in_force_can_be_asked_for() -> None:
    parser = MidiParser()
    told = []
    for byte in (0x3C, 0x90, 0xF8, 0x3C, 0xF6):
        parser.feed([0], [byte])
        told.append(parser.running_status)

    assert told == [None, 0x90, 0x90, 0x90, None]


def test_controller_88_gives_the_next_velocity_its_low_seven_bits() -> None:
    """CA-031: v14 = 128 v + lsb, here 128 * 64 + 32 = 8224 of 16384."""
    assert velocities(b"\xb0\x58\x20" + ON) == [8224 / 128]


def test_the_low_bits_are_forgotten_with_the_first_note_message() -> None:
    assert velocities(b"\xb0\x58\x20" + ON + OFF) == [64.25, 64.0]
    assert velocities(b"\xb0\x58\x20" + OFF + ON) == [64.25, 64.0]
    assert velocities(b"\xb0\x58\x20" + b"\x90\x3c\x00" + ON) == [None, 64.0]


def test_the_low_bits_hold_for_their_own_channel_only() -> None:
    assert velocities(b"\xb1\x58\x20" + ON + b"\x91\x3c\x40") == [64.0, 64.25]


def test_another_controller_leaves_the_velocity_alone() -> None:
    assert velocities(b"\xb0\x40\x20" + ON) == [64.0]


def test_the_low_bits_come_under_running_status_too() -> None:
    assert velocities(b"\xb0\x40\x7f\x58\x20" + ON + b"\x3c\x00") == [64.25, None]


def test_as_many_ticks_as_bytes_are_asked_for() -> None:
    with pytest.raises(ValueError, match="longer"):
        MidiParser().feed([0], b"\x90\x3c")


WIRE = st.lists(st.one_of(st.sampled_from([0x90, 0x80, 0xB0, 88, 60, 0, 0xF0, 0xF7, 0xF8, 0xC1]), st.integers(0, 255)))


@given(WIRE, st.lists(st.integers(0, 40), max_size=5))
def test_pieces_of_any_size_give_the_same_notes(received: list[int], cuts: list[int]) -> None:
    ticks = [7 * place for place in range(len(received))]
    parser, notes, edges = MidiParser(), [], sorted({0, *cuts, len(received)})
    for start, end in pairwise(edges):
        notes += parser.feed(ticks[start:end], received[start:end])

    assert notes == MidiParser().feed(ticks, received)


MESSAGES = st.builds(
    mido.Message,
    st.sampled_from(["note_on", "note_off"]),
    channel=st.integers(0, 15),
    note=st.integers(0, 127),
    velocity=st.integers(1, 127),
)


@given(st.lists(MESSAGES, max_size=8), st.booleans())
def test_what_mido_writes_is_read_back_with_or_without_running_status(
    messages: list[mido.Message], running: bool
) -> None:
    wire, status = bytearray(), None
    for message in messages:
        said = message.bytes()
        wire += bytes(said[1:] if running and said[0] == status else said)
        status = said[0]

    assert [(note.channel, note.note, note.on, note.velocity) for note in read(bytes(wire))] == [
        (message.channel, message.note, message.type == "note_on", message.velocity) for message in messages
    ]
