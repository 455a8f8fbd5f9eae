"""The virtual key's note sensor: where it speaks, when, and in which manner of MIDI; read back by the shared parser."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from recordings.midi import MidiParser, NoteMessage
from rig.virtual.notes import MIDI_BYTE_US, NoteSensor, NoteSpec, velocity14_of, velocity_of
from rig.virtual.scenario import SCENARIO_FOLDER, Midi, keyboard_of, load_scenario
from rig.virtual.truths import true_features

PLAIN = NoteSpec(on_mm=8.0, off_mm=5.0, rearm_mm=6.0, latency_s=0.002)
DOWN_UP = np.concatenate([np.arange(0.0, 10.0, 0.1), np.arange(10.0, 0.0, -0.1)])
MANNERS = (
    PLAIN,
    replace(PLAIN, running_status=True),
    replace(PLAIN, velocity_zero_off=True),
    replace(PLAIN, running_status=True, velocity_zero_off=True),
    replace(PLAIN, high_resolution=True),
    replace(PLAIN, high_resolution=True, running_status=True, velocity_zero_off=True),
)


def said(spec: NoteSpec, strokes: int = 2) -> list[tuple[int, int]]:
    """What a key says that is led down and up in steps of 0.1 mm, one each millisecond: 100 mm/s."""
    sensor = NoteSensor(spec, midi_note=60)
    return [
        spoken
        for tick_us, key_mm in enumerate(np.tile(DOWN_UP, strokes).tolist())
        for spoken in sensor.watch(key_mm, 1000 * tick_us)
    ]


def notes(spec: NoteSpec, strokes: int = 2) -> list[NoteMessage]:
    stamped = said(spec, strokes)
    return MidiParser().feed([tick for tick, _ in stamped], [byte for _, byte in stamped])


@pytest.mark.parametrize("spec", MANNERS, ids=str)
def test_in_whatever_manner_the_same_notes_are_said(spec: NoteSpec) -> None:
    assert [(note.note, note.on) for note in notes(spec)] == [(60, True), (60, False)] * 2


def test_running_status_and_velocity_zero_leave_out_every_status_but_the_first() -> None:
    assert [byte for _, byte in said(MANNERS[3])] == [
        0x90, 60, velocity_of(100.0), 60, 0, 60, velocity_of(100.0), 60, 0,
    ]  # fmt: skip


def test_a_high_resolution_velocity_has_seven_more_bits() -> None:
    fine = next(note.velocity for note in notes(replace(PLAIN, high_resolution=True)) if note.on)

    assert fine == velocity14_of(100.0) / 128
    assert fine != round(fine)
    assert abs(fine - velocity_of(100.0)) <= 0.5


def test_the_law_of_velocity_stays_in_the_range_of_midi() -> None:
    assert (velocity_of(1.0), velocity_of(1e6)) == (1, 127)
    assert (velocity14_of(1.0), velocity14_of(1e6)) == (128, 127 * 128)


def test_a_message_leaves_after_the_latency_and_a_prefix_before_it() -> None:
    """The key passes 8.0 mm with its 80th step, 80 ms after the start."""
    plain, fine = notes(PLAIN)[0], notes(replace(PLAIN, high_resolution=True))[0]

    assert plain.tick_us == 80_000 + 2000 + MIDI_BYTE_US
    assert fine.tick_us == plain.tick_us + 3 * MIDI_BYTE_US


def test_a_stuck_note_never_ends_and_has_no_place_where_it_stops() -> None:
    key = keyboard_of(load_scenario("fern"))[39]
    truth = true_features(replace(key, note=replace(key.note, stuck=True)))

    assert [note.on for note in notes(replace(PLAIN, stuck=True))] == [True, True]
    assert truth["trigger_position"] == true_features(key)["trigger_position"]
    assert (truth["release_position"], truth["release_height"]) == (None, None)


def test_a_scenario_may_choose_the_manner_and_plant_a_stuck_note(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "mine.toml"
    mine = "\n[midi]\nrunning_status = true\nhigh_resolution = true\n\n[[faults]]\nkey = 40\nkind = 'stuck_note'\n"
    path.write_text((SCENARIO_FOLDER / "fern.toml").read_text() + mine)
    keys = keyboard_of(load_scenario(str(path)))

    assert load_scenario("fern").midi == Midi()
    assert [key.number for key in keys if key.note.stuck] == [40]
    assert keys[39].fault == "stuck_note"
    assert all(key.note.running_status and key.note.high_resolution for key in keys)
    assert not any(key.note.velocity_zero_off for key in keys)
