"""Comparing keyboards: differences, equivalence, families, few keys, what is shared by both."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from benchmarks.error_rates import World, cries_wolf, names_planted, names_somebody, sees_difference
from processing.budget.lines import Budget, Line
from processing.comparison.cautions import cautions_of
from processing.comparison.compare import compare_keyboards
from processing.comparison.margins import read_margins
from processing.comparison.noticed import noticed, threshold_of
from processing.comparison.paired import mean_difference, pair
from processing.comparison.sentences import sentences_of
from processing.comparison.verdicts import holm, p_equivalent
from processing.comparison.view import compare_view, difference_table
from processing.display import Units
from processing.errors import MalformedMargins, NothingInCommon
from processing.features.table import FEATURES
from processing.statistics.correlated import Estimate, Resemblance
from processing.statistics.series import Series
from processing.statistics.shared import shared_parts
from recordings.keys import ALL_KEYS, Key
from tests.processing.comparison.keyboards import a_keyboard
from tests.processing.comparison.pairs import a_difference, a_pair
from tests.processing.statistics.test_published import difference_of, mean_of_sample
from tests.processing.statistics.truths import table, told

NAMES = [feature.name for feature in FEATURES]


def compared(*, first: tuple[Key, ...] = ALL_KEYS, second: tuple[Key, ...] = ALL_KEYS, **more: float):  # type: ignore[no-untyped-def]
    return compare_keyboards([a_keyboard(seed=1, keys=first), a_keyboard(seed=2, keys=second, **more)], ["a", "b"])


def test_a_difference_is_found_with_its_size() -> None:
    found = compared(down_weight=0.04).pairs[0].difference("down_weight", "natural", "whole")

    assert found.verdict == "different"
    assert abs(found.mean.estimate.value - 0.04) < found.mean.estimate.expanded()


def test_without_a_difference_none_is_found_and_what_has_a_margin_is_alike() -> None:
    pair = compared().pairs[0]

    assert {one.verdict for one in pair.differences if one.region.name == "whole"} == {"alike"}
    assert not any(one.different for one in (*pair.evenness, *pair.presences))


def test_few_keys_rest_on_their_own_budgets() -> None:
    found = compared(first=ALL_KEYS[39:40], second=ALL_KEYS[39:40], down_weight=0.05)
    one = found.pairs[0].difference("down_weight", "natural", "whole")

    assert one.mean.basis == "budgets of these keys alone"
    assert one.mean.estimate.u == pytest.approx(0.001 * np.sqrt(2))
    assert any("speak of these keys alone" in caution for caution in found.cautions)


def test_few_sharps_beside_many_naturals_are_named() -> None:
    octave = ALL_KEYS[39:50]  # C4 to A#4: six naturals and five sharps
    sharps = [key for key in octave if key.colour == "sharp"][:4]
    keys = tuple(key for key in octave if key.colour == "natural" or key in sharps)

    assert "Few keys (4 sharps): their intervals" in " ".join(compared(first=keys, second=keys).cautions)
    assert not any("Few keys" in caution for caution in compared().cautions)


def test_other_key_sets_are_compared_where_both_have_keys_and_that_is_said() -> None:
    found = compared(second=ALL_KEYS[20:60])

    assert found.pairs[0].keys == tuple(range(21, 61))
    assert any("the 40 that both have are compared" in caution for caution in found.cautions)


def test_one_common_key_is_told_in_the_singular() -> None:
    found = compared(first=ALL_KEYS[39:40], second=ALL_KEYS[39:41])

    assert found.cautions[-1].startswith(
        "Other key sets: of 1 key of a and 2 of b the only one that both have is compared."
    )


def test_keyboards_without_a_common_key_cannot_be_compared() -> None:
    with pytest.raises(NothingInCommon, match="no measured key in common"):
        compared(first=ALL_KEYS[:10], second=ALL_KEYS[20:30])


def test_three_keyboards_are_each_held_against_the_first_in_one_family() -> None:
    three = compare_keyboards([a_keyboard(seed=seed) for seed in (1, 2, 3)], ["a", "b", "c"])
    two = compare_keyboards([a_keyboard(seed=seed) for seed in (1, 2)], ["a", "b"])

    assert [(pair.first, pair.second) for pair in three.pairs] == [("a", "b"), ("a", "c")]
    assert three.tests == 2 * two.tests


def test_a_verdict_that_a_third_recording_turns_open_is_told() -> None:
    """In a pair alone a probability of 0.0012 times 30 tests is under 5 %; with as many tests more it is above."""
    alone = a_difference(1.0, half=0.6047, keys="all")  # 3.24 standard uncertainties: p = 0.0012
    rest = [a_difference(0.0, name=name, verdict="open") for name in NAMES[:29]]
    lost = a_pair(replace(alone, verdict="open", p_family=0.07), *rest)
    results = [a_keyboard(seed=seed) for seed in (1, 2, 3)]

    told = cautions_of(results, ["fern", "moss", "tern"], [lost, a_pair(*rest)], 0.05)

    words = "1 difference between fern and moss would be sure if only these two were compared (30 tests)"
    assert [words in caution for caution in told].count(True) == 1
    assert not any("would be sure" in one for one in cautions_of(results[:2], ["fern", "moss"], [lost], 0.05))


def test_a_sure_difference_within_the_margin_keeps_its_verdict() -> None:
    one = compared(down_weight=0.015).pairs[0].difference("down_weight", "natural", "whole")

    assert (one.verdict, one.within_margin) == ("different", True)
    assert one.mean.estimate.value + one.mean.estimate.expanded() < one.margin


@pytest.mark.parametrize("labels", [["a"], ["a", "a"]])
def test_a_comparison_needs_two_keyboards_with_names_of_their_own(labels: list[str]) -> None:
    with pytest.raises(ValueError, match="names of their own"):
        compare_keyboards([a_keyboard(seed=1)] * len(labels), labels)


def test_the_view_is_json_and_the_table_has_a_row_for_each_number() -> None:
    found = compared(friction=0.03)
    view = json.loads(json.dumps(compare_view(found, Units()), allow_nan=False))

    assert view["schema"] == "keyplumb.compare/1"
    assert view["pairs"][0]["differences"][0]["difference"]["U95"] > 0
    assert view["pairs"][0]["differences"][0]["where"] == "over the whole keyboard"
    assert len(difference_table(found.pairs[0], Units()).rows) == 3 * 2 * 4
    assert any("more friction" in sentence for sentence in sentences_of(found, Units()))


SCALE = Line(name="force scale", kind="B", distribution="normal", u=0.01, unit="1", dof=1000.0, sensitivity=0.5)
LATE = Line(name="latency bound of the note", kind="B", distribution="rectangular", u=0.01, unit="N", dof=1000.0)


NATURALS = tuple(key for key in ALL_KEYS if key.colour == "natural")


def a_series(*lines: Line) -> Series:
    """Of the naturals, one with each of these lines in its budget; all with the only one."""
    of_each = lines if len(lines) > 1 else lines * len(NATURALS)
    budgets = [Budget(measurand="down_weight", unit="N", value=0.5, lines=(line,)) for line in of_each]
    return Series(
        name="down_weight",
        unit="N",
        colour="natural",
        numbers=tuple(key.number for key in NATURALS),
        values=np.full(len(NATURALS), 0.5),
        own_u=np.full(len(NATURALS), 0.001),
        own_dof=np.full(len(NATURALS), 10.0),
        shared=shared_parts(budgets, frozenset()),
    )


def shared_u_of(first: Series, second: Series, *, one_record: bool) -> float:
    both = pair(first, second, one_record=one_record)
    assert both is not None
    return mean_difference(both, list(range(len(both.numbers))), Resemblance(0.0)).shared_u


def test_a_constant_of_one_record_falls_out_of_a_difference_as_far_as_both_lean_on_it() -> None:
    second = a_series(replace(SCALE, sensitivity=0.6))

    assert shared_u_of(a_series(SCALE), second, one_record=True) == pytest.approx(0.01 * (0.6 - 0.5))


def test_constants_of_two_records_do_not_fall_out() -> None:
    assert shared_u_of(a_series(SCALE), a_series(SCALE), one_record=False) == pytest.approx(np.sqrt(2) * 0.01 * 0.5)


def test_what_is_not_in_the_record_counts_once_for_each_recording() -> None:
    assert shared_u_of(a_series(LATE), a_series(LATE), one_record=True) == pytest.approx(np.sqrt(2) * 0.01)


def test_a_drift_over_the_sitting_counts_where_it_acts() -> None:
    """It errs one way on the left and the other way on the right: by nothing on the mean of all."""
    drifts = [replace(LATE, name="drift over the sitting", sensitivity=share) for share in np.linspace(-1.0, 1.0, 52)]
    both = pair(a_series(*drifts), a_series(*drifts), one_record=True)
    assert both is not None

    whole, left, right = (
        mean_difference(both, list(inside), Resemblance(0.0)).shared_u
        for inside in (range(52), range(13), range(39, 52))
    )

    assert whole == pytest.approx(0.0, abs=1e-9)
    assert left == pytest.approx(right) == pytest.approx(np.sqrt(2) * 0.01 * (1.0 - 12.0 / 51.0), rel=1e-6)


@pytest.mark.parametrize(
    ("name", "which", "how"),
    [
        ("tost_clinic_paired", "var2", "paired"),
        ("tost_clinic_paired_1", "var1", "paired"),
        ("tost_clinic_indep", "var2", "apart"),
        ("tost_clinic_indep_1", "var1", "apart"),
    ],
)
def test_equivalence_has_the_published_probabilities(name: str, which: str, how: str) -> None:
    """Data and results of the R package `equivalence`, as they ship in the tests of statsmodels."""
    data, published = table("clinic.csv"), told("clinic_published.json")[name]
    first, second = (group[which].to_numpy() for _, group in data.groupby("group"))
    estimate = mean_of_sample(first - second) if how == "paired" else difference_of(first, second)

    assert estimate.u == pytest.approx(published["se_diff"], rel=1e-9)
    assert estimate.dof == pytest.approx(published["df"], rel=1e-9)
    assert p_equivalent(estimate, published["epsilon"]) == pytest.approx(published["p_value"], rel=1e-9)


def test_equivalence_has_the_probability_of_the_second_published_set() -> None:
    """NCSS example 198 as in the tests of the R package TOSTER: the larger of the two one-sided probabilities."""
    published = told("ncss_198.json")["pooled"]
    estimate = Estimate(published["diff"], published["SE"], published["df"])

    assert p_equivalent(estimate, 110.0) == pytest.approx(max(published["p_lower"], published["p_upper"]), abs=1e-5)


def test_holm_is_that_of_statsmodels() -> None:
    from statsmodels.stats.multitest import multipletests

    probabilities = np.random.default_rng(7).uniform(0.0, 0.2, 30)

    assert holm(probabilities.tolist()) == pytest.approx(multipletests(probabilities, method="holm")[1].tolist())


def test_the_guide_for_a_hand_follows_the_published_fractions() -> None:
    low, high = threshold_of("down_weight", "N", 0.5)  # type: ignore[misc]

    assert (low, high) == pytest.approx((0.035, 0.05))
    guesses = [noticed(size, (low, high)).guess for size in (0.03, -0.04, 0.06)]
    assert guesses == ["hardly noticed", "at the edge", "may be noticed"]
    assert threshold_of("letoff_work", "mJ", None) is None


def test_the_built_in_margins_are_in_our_units() -> None:
    assert read_margins()["down_weight"] == pytest.approx(3 * 0.00980665)
    assert read_margins()["key_dip"] == 0.25


def test_margins_that_a_file_does_not_name_stay(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('[[margin]]\nmeasurand = "down_weight"\nwithin = 5.0\nunit = "gf"\n', encoding="utf-8")

    assert read_margins(path) == {**read_margins(), "down_weight": pytest.approx(5 * 0.00980665)}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[margin]]\nmeasurand = "weight"\nwithin = 1.0\nunit = "gf"', "no measurand"),
        ('[[margin]]\nmeasurand = "friction"\nwithin = 1.0\nunit = "stone"', "no unit of force"),
        ('[[margin]]\nmeasurand = "letoff_ratio"\nwithin = 1.0\nunit = "gf"', "no unit of letoff_ratio"),
        ('[[margin]]\nmeasurand = "friction"\nwithin = -1.0\nunit = "gf"', "greater than 0"),
        ('[[margin]]\nmeasurand = "friction"\nwithin = 1.0\nunit = "gf"\nwihtin = 2', "wihtin"),
        ("[[margin]\n", "line 1"),
        ('[[margin]]\nmeasurand = "friction"\nwithin = 1\nunit = "gf"\n' * 2, "has a margin already"),
    ],
)
def test_a_wrong_file_of_margins_is_refused_with_file_and_place(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(MalformedMargins, match=words) as refused:
        read_margins(path)

    assert str(path) in str(refused.value)


def test_a_missing_file_of_margins_is_told() -> None:
    with pytest.raises(MalformedMargins, match="No such file"):
        read_margins(Path("nowhere.toml"))


@pytest.mark.parametrize("fading", [0.0, 0.5])
def test_keyboards_without_a_difference_are_called_different_no_more_often_than_stated(fading: float) -> None:
    """A small version of `make error-rates`: a family rate above 5 % by chance alone one time in two hundred."""
    cried = sum(cries_wolf(seed, World(fading=fading))[0] for seed in range(16))

    assert binomtest(cried, 16, 0.05, alternative="greater").pvalue > 0.005


@pytest.mark.parametrize("keys", [ALL_KEYS[19:44], ALL_KEYS[::6]], ids=["three sharps in the bass", "every sixth key"])
def test_few_keys_of_a_region_do_not_cry_wolf(keys: tuple[Key, ...]) -> None:
    """They are judged by the scatter of all keys of their colour; by their own budgets alone all 16 cried."""
    cried = sum(cries_wolf(seed, World(keys=keys))[0] for seed in range(16))

    assert binomtest(cried, 16, 0.05, alternative="greater").pvalue > 0.005


def test_what_a_key_has_for_itself_is_the_least_that_a_mean_is_unsure_by() -> None:
    """Known no better for that: a scatter that is small by chance has not more degrees of freedom than any other."""
    sure = a_series(replace(LATE, u=0.0))
    both = pair(sure, sure, one_record=True)
    assert both is not None

    told = mean_difference(both, list(range(52)), Resemblance(0.0)).estimate

    assert told.u == pytest.approx(np.sqrt(2.0) * 0.001 / np.sqrt(52.0))
    assert told.dof < 15.0


def test_rounding_is_no_difference() -> None:
    series = a_series(LATE)
    both = pair(series, replace(series, values=series.values * (1.0 + 1e-12)), one_record=True)
    assert both is not None

    assert (both.differences == 0.0).all()


def test_keyboards_of_good_keys_have_nobody_named_more_often_than_stated() -> None:
    named = sum(names_somebody(seed, World(), tests=8) for seed in range(40))

    assert binomtest(named, 40, 0.05, alternative="greater").pvalue > 0.005


def test_what_is_there_is_seen() -> None:
    """8 gf on 88 keys that scatter by 1 gf; three keys off by ten times the scatter."""
    assert all(sees_difference(seed, World(drift=0.0), 8.0) for seed in range(5))
    assert all(names_planted(seed, World(), 3, 10.0) for seed in range(10))
