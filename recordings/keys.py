"""Names and numbers of the 88 keys: A0 = 1 ... C4 = 40 ... C8 = 88, MIDI notes 21 ... 108 (source: MIDI 1.0)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from recordings.errors import UnknownKey

NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
FLATS = {"Db": "C#", "Eb": "D#", "Gb": "F#", "Ab": "G#", "Bb": "A#"}
FIRST_NOTE = 21
KEY_COUNT = 88


@dataclass(frozen=True, slots=True, order=True)
class Key:
    """One key, by its number from the left, 1..88. Raises UnknownKey outside."""

    number: int

    def __post_init__(self) -> None:
        if not 1 <= self.number <= KEY_COUNT:
            raise UnknownKey(str(self.number))

    @classmethod
    def from_name(cls, name: str) -> Key:
        """Return the key of a name like C4, f#4 or Gb4, or of a number from 1 to 88.

        >>> Key.from_name("C4").number, Key.from_name("Gb4").name
        (40, 'F#4')
        """
        text = name.strip()
        if text.isdecimal():
            return cls(int(text))
        found = re.fullmatch(r"([A-Ga-g])([#b]?)([0-8])", text)
        if not found:
            raise UnknownKey(name)
        letter = found[1].upper() + found[2]
        pitch = FLATS.get(letter, letter)
        number = 12 * (int(found[3]) + 1) + NAMES.index(pitch) - 20 if pitch in NAMES else 0
        if not 1 <= number <= KEY_COUNT:
            raise UnknownKey(name)
        return cls(number)

    @property
    def note(self) -> int:
        """MIDI note number, 21..108."""
        return self.number + FIRST_NOTE - 1

    @property
    def name(self) -> str:
        """Note name with octave, sharps written with #."""
        return note_name(self.note)

    @property
    def colour(self) -> str:
        """`natural` or `sharp`."""
        return "sharp" if "#" in self.name else "natural"


def note_name(note: int) -> str:
    """Return the name of any MIDI note, 0..127, also of one that no key has.

    >>> note_name(60), note_name(0)
    ('C4', 'C-1')
    """
    return f"{NAMES[note % 12]}{note // 12 - 1}"


ALL_KEYS = tuple(Key(number) for number in range(1, KEY_COUNT + 1))


def parse_keys(text: str) -> tuple[Key, ...]:
    """Return the keys that a text names, each once, from left to right.

    text: commas between single keys, ranges `A0..C8`, and the words `all`, `naturals`, `sharps`.
    >>> [key.name for key in parse_keys("C4..E4, A0")]
    ['A0', 'C4', 'C#4', 'D4', 'D#4', 'E4']
    """
    named: set[Key] = set()
    for part in text.split(","):
        word = part.strip()
        if word == "all":
            named.update(ALL_KEYS)
        elif word in ("naturals", "sharps"):
            named.update(key for key in ALL_KEYS if key.colour == word.removesuffix("s"))
        elif ".." in word:
            first, last = (Key.from_name(end).number for end in word.split("..", 1))
            named.update(Key(number) for number in range(min(first, last), max(first, last) + 1))
        else:
            named.add(Key.from_name(word))
    return tuple(sorted(named))
