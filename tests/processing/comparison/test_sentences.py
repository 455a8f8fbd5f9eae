"""What a comparison says: words that follow the numbers, digits that do not contradict them, keys as measured."""

from __future__ import annotations

import pytest

from processing.comparison.band_words import band_sentences
from processing.comparison.noticed import Guess
from processing.comparison.regions import REGIONS, spoken_of
from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Difference
from processing.comparison.view import difference_table
from processing.display import Units
from processing.statistics.scatter import WIDEST_RATIO
from recordings.keys import parse_keys
from tests.processing.comparison.pairs import a_band, a_difference, a_pair, an_evenness

UNITS = Units()


def the_first_sentence(*differences: Difference) -> str:
    return pair_sentences(a_pair(*differences), UNITS)[0]


@pytest.mark.parametrize(
    ("name", "sharps", "words"),
    [
        ("down_weight", 3.0, "(sharps: 3.00 ± 0.40 gf more)"),
        ("down_weight", -3.0, "(sharps: 3.00 ± 0.40 gf)"),
        ("balance_weight", 3.0, "(sharps: 3.00 ± 0.40 gf heavier)"),
        ("key_dip", 3.0, "(sharps: 3.00 ± 0.40 mm deeper)"),
        ("release_position", 3.0, "(sharps: 3.00 ± 0.40 gf deeper, so sooner)"),
    ],
)
def test_a_bracket_says_its_direction_where_it_is_another(name: str, sharps: float, words: str) -> None:
    """Naturals have 5 less; a bare number after them reads as less as well."""
    told = the_first_sentence(
        a_difference(-5.0, name=name, first=90.0), a_difference(sharps, name=name, first=90.0, colour="sharp")
    )

    assert words in told


@pytest.mark.parametrize(
    ("naturals", "sharps", "words"),
    [
        (
            "hardly noticed",
            "may be noticed",
            "; a hand may notice it on sharps, on naturals it hardly notices it (guide).",
        ),
        (
            "may be noticed",
            "at the edge",
            "; a hand may notice it on naturals, on sharps it is at the edge of that (guide).",
        ),
        (
            "at the edge",
            "hardly noticed",
            "; at the edge of what a hand notices on naturals, on sharps it hardly notices it (guide).",
        ),
        ("may be noticed", "may be noticed", "; a hand may notice (guide)."),
    ],
)
def test_a_hand_is_told_of_both_colours_where_they_differ(naturals: Guess, sharps: Guess, words: str) -> None:
    both = a_difference(2.0, guess=naturals), a_difference(4.0, colour="sharp", guess=sharps)

    assert the_first_sentence(*both).endswith(words)


def test_a_hand_is_not_told_of_sharps_that_are_not_in_the_sentence() -> None:
    unsure = a_difference(4.0, colour="sharp", guess="may be noticed", verdict="open")

    assert the_first_sentence(a_difference(2.0, guess="hardly noticed"), unsure).endswith(
        "; a hand hardly notices (guide)."
    )


@pytest.mark.parametrize(
    ("name", "balance", "friction", "words"),
    [
        ("up_weight", 2.17, 3.19, "; friction makes the difference, although balance takes 2.17 ± 0.26 gf of it back."),
        ("up_weight", 0.20, 3.19, "; friction, not balance, makes the difference."),
        (
            "down_weight",
            3.19,
            -2.17,
            "; balance makes the difference, although friction takes 2.17 ± 0.26 gf of it back.",
        ),
        ("down_weight", 3.19, 0.20, "; balance, not friction, makes the difference."),
        ("down_weight", 2.17, 3.19, "; balance and friction both have a part in it."),
        (
            "down_weight",
            0.6,
            -0.2,
            "; balance makes the difference, although friction may take 0.20 ± 0.26 gf of it back.",
        ),
    ],
)
def test_a_part_that_opposes_is_told_with_its_number(name: str, balance: float, friction: float, words: str) -> None:
    """Down weight is balance plus friction, up weight balance less friction."""
    whole = balance + friction if name == "down_weight" else balance - friction
    parts = [
        a_difference(value, 0.26, name=part, verdict="open")
        for part, value in (("balance_weight", balance), ("friction", friction))
    ]

    assert the_first_sentence(a_difference(whole, 0.1, name=name), *parts).endswith(words)


@pytest.mark.parametrize(
    ("region", "keys", "where", "short"),
    [
        ("whole", "all", "over the whole keyboard", "whole"),
        ("whole", "C1..G7", "over the whole keyboard", "whole"),  # both ends within half an octave: some stood out
        ("whole", "C2..C7", "from C2 to C7", "C2..C7"),  # 61 keys
        ("whole", "C3..C5", "from C3 to C5", "C3..C5"),
        ("whole", "C1,C2,C3,C4,C5,C6,C7,C8", "at 8 keys from C1 to C8", "C1..C8"),
        ("whole", "C4", "at C4", "C4"),
        ("bass", "all", "in the bass", "bass"),
        ("bass", "C2..C7", "in the bass, from C2 to B2", "bass C2..B2"),
        ("treble", "C2..C7", "in the treble, from D6 to C7", "treble D6..C7"),
        ("middle", "C2..C7", "in the middle octaves", "middle"),
        ("middle", "C2,C3,C4,C5", "in the middle octaves, at 3 keys from C3 to C5", "middle C3..C5"),
        ("treble", "C2,C7", "at C7", "treble C7"),
    ],
)
def test_words_of_a_region_say_what_was_measured(region: str, keys: str, where: str, short: str) -> None:
    naturals = [key.number for key in parse_keys(keys) if key.colour == "natural"]
    told = spoken_of(next(one for one in REGIONS if one.name == region), naturals)

    assert (told.where, told.short) == (where, short)


def test_sharps_on_another_stretch_say_so_in_their_bracket() -> None:
    sharps = a_difference(4.0, colour="sharp", keys="C4..B4")

    assert "over the whole keyboard (sharps from C#4 to A#4: 4.00 ± 0.40 gf)" in the_first_sentence(
        a_difference(5.0), sharps
    )


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("down_weight", "moss needs 5.00 ± 0.40 gf more than fern to sink C4."),
        ("friction", "C4 of moss has 5.00 ± 0.40 gf more friction than that of fern."),
        ("letoff_drop", "The force falls by 5.00 ± 0.40 gf more behind the notch of moss than of fern on C4."),
    ],
)
def test_one_key_is_called_by_its_name(name: str, words: str) -> None:
    assert the_first_sentence(a_difference(5.0, name=name, keys="C4")) == words


@pytest.mark.parametrize(
    ("ratio", "low", "high", "words"),
    [
        (0.17, 0.04, 0.96, "scatter 0.17 times as much as those of fern (0.040 to 0.96;"),
        (0.3, 0.1, 0.997, "scatter 0.30 times as much as those of fern (0.10 to 0.997;"),
        (2.1, 1.02, 12.3, "scatter 2.1 times as much as those of fern (1.02 to 12;"),
        (40.0, 6.3, WIDEST_RATIO, "scatter 40 times as much as those of fern (6.3 or more;"),
        (0.025, 1.0 / WIDEST_RATIO, 0.16, "scatter 0.025 times as much as those of fern (0.16 or less;"),
    ],
)
def test_a_ratio_has_two_digits_and_never_seems_to_be_one(ratio: float, low: float, high: float, words: str) -> None:
    told = pair_sentences(a_pair(evenness=(an_evenness(ratio, low, high),)), UNITS)[0]

    assert words in told


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (0.0, 0.002, "scatter at least 6.3 times as much as those of fern (0.0020 mm about the trend, against nothing"),
        (0.002, 0.0, "scatter at most 0.16 times as much as those of fern (nothing about the trend"),
    ],
)
def test_a_scatter_that_the_rig_explains_is_told_by_the_end_of_the_interval(
    first: float, second: float, words: str
) -> None:
    ratio = (WIDEST_RATIO, 6.3, WIDEST_RATIO) if first == 0.0 else (1.0 / WIDEST_RATIO, 1.0 / WIDEST_RATIO, 0.16)
    told = pair_sentences(a_pair(evenness=(an_evenness(*ratio, first=first, second=second),)), UNITS)[0]

    assert words in told


def test_spreads_have_two_digits() -> None:
    told = pair_sentences(a_pair(evenness=(an_evenness(0.4, 0.2, 0.8, first=0.0031, second=0.00124),)), UNITS)[0]

    assert "0.0012 mm against 0.0031 mm about the trend" in told


@pytest.mark.parametrize(
    ("name", "first", "value", "half", "cells"),
    [
        ("letoff_work", 0.1512, -0.0360, 0.006, ("0.151 mJ", "0.115 mJ", "-0.036 ± 0.006 mJ")),
        ("letoff_slope", 41.73, 55.69, 2.3, ("41.7 gf/mm", "97.4 gf/mm", "55.7 ± 2.3 gf/mm")),
        ("down_weight", 50.04, 1.84, 1.79, ("50.04 gf", "51.88 gf", "1.84 ± 1.79 gf")),  # 1.8 ± 1.8 would touch 0
    ],
)
def test_means_have_as_many_decimals_as_their_difference(
    name: str, first: float, value: float, half: float, cells: tuple[str, ...]
) -> None:
    row = difference_table(a_pair(a_difference(value, half, name=name, first=first)), UNITS).rows[0]

    assert row[4:7] == cells


def test_a_sure_difference_within_the_margin_is_told_as_such() -> None:
    naturals = a_difference(2.0, margin=5.0, within=True)
    sharps = a_difference(4.9, colour="sharp", margin=5.0)

    assert the_first_sentence(naturals).endswith("; within the 5.0 gf that count as alike.")
    assert "; on naturals within the 5.0 gf that count as alike." in the_first_sentence(naturals, sharps)
    assert "count as alike" not in the_first_sentence(sharps)
    assert [row[8:10] for row in difference_table(a_pair(naturals, sharps), UNITS).rows] == [
        ("different", "5.0 gf: inside"),
        ("different", "5.0 gf"),
    ]


def test_a_margin_is_not_uncalibrated() -> None:
    """Somebody has said it; what was measured is."""
    pair, units = a_pair(a_difference(2.0, margin=5.0, within=True)), Units(force_mark="uncalibrated")

    assert "2.00 ± 0.40 gf uncalibrated more" in pair_sentences(pair, units)[0]
    assert "within the 5.0 gf that count as alike" in pair_sentences(pair, units)[0]
    assert difference_table(pair, units).rows[0][9] == "5.0 gf: inside"


def test_the_most_of_a_stretch_is_no_bound() -> None:
    """0.0184 N and 0.0179 N are 1.88 and 1.83 gf: as "1.9 ± 1.8" they leave out 0 to the eye as well."""
    told = band_sentences(a_pair(bands=(a_band(value=0.0180, half=0.0178),)), UNITS)[0]

    assert "0.00 mm to 1.95 mm (most at 0.00 mm: 1.84 ± 1.82 gf more)" in told
    assert "at most" not in told


def test_few_keys_are_told_why_there_is_no_band() -> None:
    told = band_sentences(a_pair(keys=parse_keys("C4..B4")), UNITS)

    assert told == [
        "Where in the travel they differ is not told of 7 naturals and 5 sharps in the middle octaves: a band takes 8 "
        "keys of a colour that both have."
    ]


def test_a_band_of_a_part_names_what_was_measured_of_it() -> None:
    told = band_sentences(a_pair(bands=(a_band(),), keys=parse_keys("G1..B2")), UNITS)

    assert told[0].startswith("Pressing a natural in the bass, from G1 to B2, moss differs from fern:")


def test_where_no_part_has_a_band_the_whole_speaks() -> None:
    told = band_sentences(a_pair(bands=(a_band(region="whole"),), keys=parse_keys("G2..F3")), UNITS)

    assert told[0].startswith("Pressing a natural from G2 to F3, moss differs from fern:")
    assert "in the bass and of" in told[1]
