"""Names and numbers of keys: facts of MIDI 1.0 (IEC 63035:2017)."""

from __future__ import annotations

import pytest

from recordings.errors import UnknownKey
from recordings.keys import ALL_KEYS, Key, parse_keys


@pytest.mark.parametrize(
    ("name", "number", "note"), [("A0", 1, 21), ("C4", 40, 60), ("A4", 49, 69), ("C8", 88, 108), ("F#4", 46, 66)]
)
def test_a_name_has_its_number_and_note(name: str, number: int, note: int) -> None:
    key = Key.from_name(name)

    assert (key.number, key.note, key.name) == (number, note, name)


def test_there_are_52_naturals_and_36_sharps() -> None:
    colours = [key.colour for key in ALL_KEYS]

    assert (colours.count("natural"), colours.count("sharp")) == (52, 36)


@pytest.mark.parametrize("key", ALL_KEYS, ids=lambda key: key.name)
def test_every_key_is_found_by_its_own_name(key: Key) -> None:
    assert Key.from_name(key.name) == Key.from_name(str(key.number)) == key


@pytest.mark.parametrize("name", ["H4", "C9", "G#0", "", "C", "89", "0", "Cb4", "B#3", "E#2"])
def test_what_is_no_key_is_refused_by_name(name: str) -> None:
    with pytest.raises(UnknownKey) as refused:
        Key.from_name(name)
    assert refused.value.found == name


def test_flats_name_the_sharp_beside_them() -> None:
    assert [Key.from_name(name).name for name in ("Bb0", "Db4", "eb4")] == ["A#0", "C#4", "D#4"]


@pytest.mark.parametrize(("text", "count"), [("all", 88), ("naturals", 52), ("sharps", 36), ("A0..C8", 88), ("C4", 1)])
def test_words_and_ranges_name_many_keys(text: str, count: int) -> None:
    assert len(parse_keys(text)) == count
