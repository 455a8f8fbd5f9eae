"""From event bytes to notes, and from notes to places on the way.

How it works: MIDI bytes go through mido's parser with the status byte put in front where running status left it out
(the parser forgets it). A note-on with velocity 0 is a note-off (MIDI 1.0). Contact edges make notes without velocity
when there is no MIDI. A note's place is the plunger's way at its time, from a line through the samples around it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import mido
import numpy as np

from processing.stages import Branch, Note, Stroke, StrokeNotes
from recordings.keys import Key
from recordings.types import CONTACT, MIDI_IN, STRIKE, RawEvents

FIRST_STATUS, FIRST_SYSTEM, FIRST_REALTIME = 0x80, 0xF0, 0xF8
AROUND_S = 0.02
SPEED_OVER_MM = 1.0


@dataclass(frozen=True, slots=True)
class NoteLog:
    """The notes of a key's recording, oldest first, and what else was heard."""

    notes: tuple[Note, ...]
    stray: int
    """Note-ons of other keys."""
    doubled: int
    """Note-ons while the note was sounding already."""
    heard: bool
    """False: nothing in the recording tells of notes at all."""


@dataclass(frozen=True, slots=True)
class _Edge:
    time_s: float
    on: bool
    note: int
    velocity: int | None


def to_notes(events: RawEvents, key: Key, *, first_tick_us: int) -> NoteLog:
    """Return the notes of one key; times in s from first_tick_us."""
    edges = list(_midi_edges(events, first_tick_us)) or list(_contact_edges(events, key, first_tick_us))
    own = [edge for edge in edges if edge.note == key.note]
    notes: list[Note] = []
    doubled = 0
    for edge in own:
        sounding = bool(notes) and notes[-1].off_s is None
        if edge.on:
            doubled += sounding
            notes.append(Note(edge.time_s, edge.velocity, None))
        elif sounding:
            notes[-1] = Note(notes[-1].on_s, notes[-1].velocity, edge.time_s)
    stray = sum(edge.on for edge in edges if edge.note != key.note)
    return NoteLog(tuple(notes), stray, doubled, heard=bool(edges))


def _midi_edges(events: RawEvents, first_tick_us: int) -> Iterator[_Edge]:
    status, message = 0, bytearray()
    began_us: int | None = None
    midi = events.source == MIDI_IN
    for tick_us, byte in zip(events.tick_us[midi].tolist(), events.byte[midi].tolist(), strict=True):
        if byte >= FIRST_REALTIME:
            continue
        if byte >= FIRST_STATUS:
            status, message, began_us = byte, bytearray(), tick_us
            continue
        if not FIRST_STATUS <= status < FIRST_SYSTEM:
            continue
        if began_us is None:  # running status: this byte begins a message
            began_us = tick_us
        message.append(byte)
        if len(message) == _data_bytes(status):
            spoken = mido.Message.from_bytes([status, *message])
            if spoken.type in ("note_on", "note_off"):
                on = spoken.type == "note_on" and spoken.velocity > 0
                yield _Edge((began_us - first_tick_us) * 1e-6, on, spoken.note, spoken.velocity if on else None)
            message, began_us = bytearray(), None


def _data_bytes(status: int) -> int:
    return 1 if status & 0xF0 in (0xC0, 0xD0) else 2


def _contact_edges(events: RawEvents, key: Key, first_tick_us: int) -> Iterator[_Edge]:
    edges = (events.source == CONTACT) | (events.source == STRIKE)
    for tick_us, byte in zip(events.tick_us[edges].tolist(), events.byte[edges].tolist(), strict=True):
        yield _Edge((tick_us - first_tick_us) * 1e-6, bool(byte), key.note, None)


def notes_of_stroke(stroke: Stroke, log: NoteLog) -> StrokeNotes:
    """Return where the note of one stroke began on the way down and ended on the way up."""
    begins_s, turns_s = stroke.down.time_s[0], stroke.down.time_s[-1]
    note = next((note for note in log.notes if begins_s <= note.on_s <= turns_s + AROUND_S), None)
    if note is None:
        return StrokeNotes(None, None, None, None)
    trigger = _way_at(stroke.down, note.on_s)
    release = None
    if stroke.up is not None and note.off_s is not None and note.off_s >= stroke.up.time_s[0]:
        release = _way_at(stroke.up, note.off_s)
    return StrokeNotes(trigger, release, note.velocity, _speed_before(stroke.down, note.on_s, trigger))


def _way_at(branch: Branch, time_s: float) -> float:
    """Return the way at a time from a straight line through the samples within AROUND_S, or between the nearest two."""
    near = np.abs(branch.time_s - time_s) <= AROUND_S
    if near.sum() < 5:
        return float(np.interp(time_s, branch.time_s, branch.way_mm))
    since, way = branch.time_s[near] - time_s, branch.way_mm[near]
    spread = float(np.sum((since - since.mean()) ** 2))
    slope = float(np.sum((since - since.mean()) * way)) / spread if spread > 0 else 0.0
    return float(way.mean() - slope * since.mean())


def _speed_before(branch: Branch, time_s: float, trigger_mm: float) -> float | None:
    began_s = float(np.interp(trigger_mm - SPEED_OVER_MM, branch.way_mm, branch.time_s))
    return SPEED_OVER_MM / (time_s - began_s) if trigger_mm > SPEED_OVER_MM and time_s > began_s else None
