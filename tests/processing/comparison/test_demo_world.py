"""The two demo keyboards: every planted difference is found, none is invented. The truth is the model's own."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from processing.comparison.band_words import band_sentences
from processing.comparison.compare import compare_keyboards
from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Comparison
from processing.display import Units
from processing.statistics.keyboard_statistics import describe_keyboard
from recordings.keys import Key
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.truths import true_features
from tests.processing.comparison.keyboards import renamed, the_scenario

PLANTED = (
    #  measurand              colour     region    sign of moss less fern, as rig/virtual/scenarios/*.toml plant it
    ("friction",             "natural", "middle", +1),
    ("friction",             "sharp",   "middle", +1),
    ("balance_weight",       "natural", "whole",  +1),
    ("letoff_slope",         "natural", "whole",  +1),
    ("letoff_slope",         "sharp",   "whole",  +1),
    ("letoff_drop",          "natural", "whole",  +1),
    ("letoff_peak_position", "natural", "treble", -1),
    ("letoff_peak_position", "sharp",   "treble", -1),
    ("release_position",     "natural", "treble", +1),
    ("release_position",     "sharp",   "treble", +1),
    ("trigger_position",     "natural", "whole",  -1),
    ("trigger_margin",       "natural", "bass",   -1),
)  # fmt: skip


@cache
def the_comparison() -> Comparison:
    return compare_keyboards([the_scenario("fern"), the_scenario("moss")], ["fern", "moss"])


@cache
def truths(name: str) -> dict[int, dict[str, float | None]]:
    return {key.number: true_features(key) for key in keyboard_of(load_scenario(name))}


@pytest.mark.parametrize(("name", "colour", "region", "sign"), PLANTED)
def test_a_planted_difference_is_found(name: str, colour: str, region: str, sign: int) -> None:
    found = the_comparison().pairs[0].difference(name, colour, region)

    assert found is not None
    assert found.verdict == "different"
    assert np.sign(found.mean.estimate.value) == sign


def test_a_damper_that_one_keyboard_lacks_is_told() -> None:
    parts = {one.presence.name: one for one in the_comparison().pairs[0].presences}

    assert parts["damper"].different
    assert (parts["damper"].presence.first, parts["damper"].presence.second) == (70, 0)
    assert not parts["letoff"].different
    assert not parts["note"].different


def test_every_difference_called_sure_is_there_in_truth() -> None:
    """The truth over the very keys that were compared, of the same sign and not far outside the interval."""
    pair = the_comparison().pairs[0]
    left_out = {key.number for key in pair.left_out}
    invented = []
    for one in pair.differences:
        inside = [n for n in pair.keys if one.region.holds(n) and n not in left_out and Key(n).colour == one.colour]
        both = [(truths("fern")[n].get(one.name), truths("moss")[n].get(one.name)) for n in inside]
        true = np.mean([b - a for a, b in both if a is not None and b is not None])
        off = abs(one.mean.estimate.value - true)
        if one.verdict == "different" and (true * one.mean.estimate.value <= 0.0 or off > one.mean.estimate.expanded()):
            invented.append((one.name, one.colour, one.region.name))

    assert invented == []


def test_a_keyboard_differs_from_a_copy_of_itself_in_nothing() -> None:
    """The same keys measured twice: only the noise is new."""
    again = renamed(the_scenario("fern", seed=2), "fern again")

    pair = compare_keyboards([the_scenario("fern"), again], ["fern", "fern again"]).pairs[0]

    assert [one for one in pair.differences if one.verdict == "different"] == []
    assert [one for one in pair.evenness if one.different] == []
    assert pair_sentences(pair, Units())[0] == "No sure difference between fern and fern again."


def test_the_faulty_keys_are_left_out_and_named() -> None:
    faulty = {fault.key for name in ("fern", "moss") for fault in load_scenario(name).faults if fault.kind != "gritty"}

    assert faulty <= {key.number for key in the_comparison().pairs[0].left_out}


def test_sentences_tell_the_numbers_and_the_cause() -> None:
    told = " ".join(pair_sentences(the_comparison().pairs[0], Units()))

    assert "more friction than one of fern in the middle octaves" in told
    assert "The let-off of moss is crisper than that of fern" in told
    assert "On none of 88 keys of moss a damper step was found, on 70 of 88 keys of fern." in told


def test_bands_tell_where_in_the_travel() -> None:
    told = " ".join(band_sentences(the_comparison().pairs[0], Units()))

    assert "Pressing a natural in the middle octaves, moss differs from fern" in told


@pytest.mark.parametrize("name", ["fern", "moss"])
def test_who_stands_out_and_matters_is_one_of_the_faulty(name: str) -> None:
    faulty = {fault.key for fault in load_scenario(name).faults}
    told = describe_keyboard(the_scenario(name))

    named = {one.number for measurand in told.measurands for one in measurand.standing_out if one.matters}

    assert named <= faulty
    assert named


def test_the_evenness_is_the_scatter_of_the_scenario() -> None:
    """scenarios/fern.toml: the let-off's place scatters by 0.05 mm from key to key, friction by 4 mN."""
    told = describe_keyboard(the_scenario("fern"))

    for name, planted in (("letoff_peak_position", 0.05), ("friction", 0.004)):
        trend = told.of(name, "natural").trend  # type: ignore[union-attr]
        assert trend is not None
        low, high = trend.scatter.interval(0.99)
        assert low < planted < high
