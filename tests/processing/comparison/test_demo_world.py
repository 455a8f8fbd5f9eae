"""The two demo keyboards: every planted difference is found, none is invented. The truth is the model's own."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from keyplumb.difference_check import PLANTED, PLANTED_PARTS, DifferenceCheck, Planted, check_differences
from processing.comparison.band_words import band_sentences
from processing.comparison.compare import compare_keyboards
from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Comparison, PairComparison
from processing.display import Units
from processing.statistics.keyboard_statistics import describe_keyboard
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.truths import true_features
from tests.processing.comparison.keyboards import renamed, the_scenario


@cache
def the_comparison() -> Comparison:
    return compare_keyboards([the_scenario("fern"), the_scenario("moss")], ["fern", "moss"])


@cache
def truths(name: str) -> dict[int, dict[str, float | None]]:
    return {key.number: true_features(key) for key in keyboard_of(load_scenario(name))}


def the_check(pair: PairComparison | None = None) -> DifferenceCheck:
    return check_differences(pair or the_comparison().pairs[0], truths("fern"), truths("moss"))


@pytest.mark.parametrize("planted", PLANTED, ids=str)
def test_a_planted_difference_is_found(planted: Planted) -> None:
    found = the_comparison().pairs[0].difference(planted.name, planted.colour, planted.region)

    assert found is not None
    assert found.verdict == "different"
    assert np.sign(found.mean.estimate.value) == planted.sign


def test_the_check_of_the_demo_finds_all_of_them_and_nothing_invented() -> None:
    check = the_check()

    assert len(check.planted) == len(PLANTED) + len(PLANTED_PARTS)
    assert check.missed == ()
    assert check.invented == ()
    assert check.inside == check.means > 30


def test_the_check_names_what_was_missed() -> None:
    pair = the_comparison().pairs[0]
    hidden = ("friction", "natural", "middle")
    kept = [one for one in pair.differences if (one.name, one.colour, one.region.name) != hidden]

    check = the_check(replace(pair, differences=tuple(kept), presences=()))

    assert check.missed == ("more friction of naturals, middle", "damper")


def test_the_check_names_what_was_invented() -> None:
    """A comparison of moss with fern the wrong way round: every sure difference is of the wrong sign."""
    pair = compare_keyboards([the_scenario("moss"), the_scenario("fern")], ["moss", "fern"]).pairs[0]

    check = the_check(pair)

    assert len(check.invented) == check.sure > 30
    assert "damper" in check.invented
    assert any(one.startswith("evenness of letoff_slope") for one in check.invented)
    assert len(check.missed) == len(PLANTED)  # the damper is still there on one alone


def test_of_a_part_of_the_keyboards_no_planted_difference_is_asked_for() -> None:
    some = [replace(the_scenario(name), keys=the_scenario(name).keys[:40]) for name in ("fern", "moss")]

    check = the_check(compare_keyboards(some, ["fern", "moss"]).pairs[0])

    assert check.planted == check.missed == check.invented == ()
    assert check.sure > 0


def test_a_damper_that_one_keyboard_lacks_is_told() -> None:
    parts = {one.presence.name: one for one in the_comparison().pairs[0].presences}

    assert parts["damper"].different
    assert (parts["damper"].presence.first, parts["damper"].presence.second) == (70, 0)
    assert not parts["letoff"].different
    assert not parts["note"].different


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
