"""From note messages to notes, and from notes to places on the way.

How it works: the rig's MIDI input is read first, the host's MIDI port if the rig's tells of no note, contact edges
(notes without velocity) if there is no MIDI at all. A key's notes are those of its own note number on the channel of
its first note-on: a keyboard that sends every note on two channels, layered or split, has still sounded once.
Everything else that begins is stray. A note's place is the plunger's way at its time, from a line through the samples
around it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from processing.stages import Branch, Note, Stroke, StrokeNotes
from recordings.keys import Key
from recordings.midi import MidiParser, NoteMessage
from recordings.types import CONTACT, HOST_MIDI, MIDI_IN, STRIKE, RawEvents

AROUND_S = 0.02
SPEED_OVER_MM = 1.0
HOME_MM = 0.3
"""A plunger back this close to touch has let the key come home; it is where the lift weight is read from too."""
ENDS_WITHIN_S = 0.5
"""A note that still sounds so long after its key came home is stuck; no interface is that late."""
PRESSES_BACK_NEWTON = 0.03
"""Less than this near home, and the key may have stayed down, its note with it."""
PRESSES_BACK_TO_MM = 1.5


@dataclass(frozen=True, slots=True)
class NoteLog:
    """The notes of a key's recording, oldest first, and what else was heard."""

    notes: tuple[Note, ...]
    stray: int
    """Note-ons of other keys, and of this key on another channel than its first."""
    doubled: int
    """Note-ons while the note was sounding already."""
    heard: bool
    """False: nothing in the recording tells of notes at all."""
    orphan_bytes: int = 0
    """MIDI data bytes before any status byte: what they mean was said before the recording began."""


def to_notes(events: RawEvents, key: Key, *, first_tick_us: int) -> NoteLog:
    """Return the notes of one key; times in s from first_tick_us."""
    messages, orphan_bytes = _note_messages(events, key)
    channel = next((message.channel for message in messages if message.on and message.note == key.note), None)
    notes: list[Note] = []
    doubled = stray = 0
    for message in messages:
        time_s = (message.tick_us - first_tick_us) * 1e-6
        sounding = bool(notes) and notes[-1].off_s is None
        if (message.note, message.channel) != (key.note, channel):
            stray += message.on
        elif message.on:
            doubled += sounding
            notes.append(Note(time_s, message.velocity, None))
        elif sounding:
            notes[-1] = Note(notes[-1].on_s, notes[-1].velocity, time_s)
    return NoteLog(tuple(notes), stray, doubled, heard=bool(messages), orphan_bytes=orphan_bytes)


def _note_messages(events: RawEvents, key: Key) -> tuple[list[NoteMessage], int]:
    """Return the messages of the best source that has any, and how many MIDI bytes could not be read."""
    orphan_bytes = 0
    for source in (MIDI_IN, HOST_MIDI):
        parser, here = MidiParser(), events.source == source
        messages = parser.feed(events.tick_us[here].tolist(), events.byte[here].tolist())
        orphan_bytes += parser.orphan_bytes
        if messages:
            return messages, orphan_bytes
    return _contact_messages(events, key), orphan_bytes


def _contact_messages(events: RawEvents, key: Key) -> list[NoteMessage]:
    edges = (events.source == CONTACT) | (events.source == STRIKE)
    said = zip(events.tick_us[edges].tolist(), events.byte[edges].tolist(), strict=True)
    return [NoteMessage(tick_us, 0, key.note, bool(closed), None) for tick_us, closed in said]


def stuck_notes(log: NoteLog, strokes: Iterable[Stroke], *, recorded_until_s: float) -> list[tuple[int, int]]:
    """Return (place in log.notes, number of the stroke from 1) of each note that did not end though its key came home.

    A note is judged if its stroke came home, the key pressed against the plunger all the way (else it stayed down, and
    rightly sounds), and ENDS_WITHIN_S passed before the next note or the end of the recording.
    """
    nexts_s = [after.on_s for _, after in pairwise(log.notes)] + [recorded_until_s]
    open_ended = [(place, note) for place, note in enumerate(log.notes) if note.off_s is None]
    stuck: list[tuple[int, int]] = []
    if not open_ended:
        return stuck
    for number, stroke in enumerate(strokes, 1):
        home_s = _home_again_s(stroke)
        for place, note in open_ended:
            if home_s is not None and stroke.down.time_s[0] <= note.on_s < home_s <= nexts_s[place] - ENDS_WITHIN_S:
                stuck.append((place, number))
    return stuck


def _home_again_s(stroke: Stroke) -> float | None:
    """Return when the plunger had let the key come home; None: it did not, or the key did not follow."""
    if stroke.up is None or not len(stroke.up.way_mm) or stroke.up.way_mm[-1] > HOME_MM:
        return None
    last = (stroke.up.way_mm >= HOME_MM) & (stroke.up.way_mm <= PRESSES_BACK_TO_MM)
    if not last.any() or np.median(stroke.up.force_newton[last]) < PRESSES_BACK_NEWTON:
        return None
    return float(stroke.up.time_s[-1])


def notes_of_stroke(stroke: Stroke, log: NoteLog) -> StrokeNotes:
    """Return where the note of one stroke began on the way down and ended on the way up."""
    begins_s, turns_s = stroke.down.time_s[0], stroke.down.time_s[-1]
    note = next((note for note in log.notes if begins_s <= note.on_s <= turns_s + AROUND_S), None)
    if note is None:
        return StrokeNotes(None, None, None, None)
    trigger, down_mm_per_s = _way_at(stroke.down, note.on_s)
    release = up_mm_per_s = None
    if stroke.up is not None and note.off_s is not None and note.off_s >= stroke.up.time_s[0]:
        release, up_mm_per_s = _way_at(stroke.up, note.off_s)
    before = _speed_before(stroke.down, note.on_s, trigger)
    return StrokeNotes(trigger, release, note.velocity, before, down_mm_per_s, up_mm_per_s)


def _way_at(branch: Branch, time_s: float) -> tuple[float, float]:
    """Return way and speed (without sign) at a time from a straight line through the samples within AROUND_S; the way
    between the nearest two and the branch's own speed where there are too few."""
    near = np.abs(branch.time_s - time_s) <= AROUND_S
    if near.sum() < 5:
        return float(np.interp(time_s, branch.time_s, branch.way_mm)), branch.speed_mm_per_s
    since, way = branch.time_s[near] - time_s, branch.way_mm[near]
    spread = float(np.sum((since - since.mean()) ** 2))
    slope = float(np.sum((since - since.mean()) * way)) / spread if spread > 0 else 0.0
    return float(way.mean() - slope * since.mean()), abs(slope)


def _speed_before(branch: Branch, time_s: float, trigger_mm: float) -> float | None:
    began_s = float(np.interp(trigger_mm - SPEED_OVER_MM, branch.way_mm, branch.time_s))
    return SPEED_OVER_MM / (time_s - began_s) if trigger_mm > SPEED_OVER_MM and time_s > began_s else None
