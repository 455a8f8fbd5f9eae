"""How a survey speaks to the person in front of it, without knowing whether that is a terminal, a page or a test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from recordings.keys import Key


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
    """What is said and asked."""

    progress: Callable[[Progress], None]
    place_rig: Callable[[Key], None]
    """Called before each key if the rig has no carriage: the person sets the rig over the key."""
    tell: Callable[[str], None]
    """Told, in a sentence, what has happened."""
