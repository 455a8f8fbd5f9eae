"""How a survey speaks to the person in front of it, without knowing whether that is a terminal, a page or a test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

from daq.verdict import Now, StrokeVerdict
from recordings.keys import Key
from recordings.types import Header, KeyRecording


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a survey is."""

    key: Key
    key_index: int
    """From 0."""
    key_count: int
    doing: str
    """In a few words: `approach`, `stroke 2 of 3`."""
    share: float
    """Of the whole survey, 0..1."""
    seconds_left: float | None
    """None: too early to say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Talk:
    """What is said and asked when a motor presses."""

    progress: Callable[[Progress], None]
    place_rig: Callable[[Key], None]
    """Called before each key if the rig has no carriage: the person sets the rig over the key."""
    tell: Callable[[str], None]
    """Told, in a sentence, what has happened."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """Somebody who looks at every key as soon as it is recorded. Called between keys, when nothing moves."""

    key_done: Callable[[Header, KeyRecording], None]
    """Given the key as it lies on the disk; must come back at once."""
    enough: Callable[[], str | None]
    """Asked before the next key: why the keys still to come are not wanted any more; None: they are."""


class Order(Enum):
    """What a person who presses by hand wants."""

    NEXT = auto()
    """This key is done."""
    AGAIN = auto()
    """Begin this key again; what there is of it is set aside."""
    SKIP = auto()
    """Leave this key as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandTalk:
    """What is said and asked when a person presses."""

    progress: Callable[[Progress], None]
    tell: Callable[[str], None]
    next_key: Callable[[Key, int], None]
    """Told which key to press now, and how many good strokes are wanted."""
    now: Callable[[Now], None]
    """Told some 50 times a second what the plunger is doing."""
    verdict: Callable[[StrokeVerdict, int, int], None]
    """Told of each stroke: the verdict, good ones so far, how many are wanted."""
    order: Callable[[], Order | None]
    """Asked as often what the person wants; None: nothing."""
