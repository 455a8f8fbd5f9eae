"""Limits learned from good units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from processing.display import Units
from processing.errors import CannotLearn, FileIsThere
from processing.keyboard import KeyboardResult
from processing.limits.judge import judge
from processing.limits.learn import learn_limits
from processing.limits.learned import Learned, LearnSettings, Proposal
from processing.limits.learned_file import write_learned
from processing.limits.learned_words import learned_sentences, proposal_sentences
from processing.limits.reading import read_limits
from processing.limits.tolerance import two_sided_factor
from processing.stages import KeyResult
from recordings.keys import Key
from tests.processing.keyboards import a_keyboard
from tests.processing.limits.units_of_a_model import Line, a_unit

ONE = LearnSettings(measurands=("down_weight",))
NEWTON_AND_MM = Units("N", "mm")


def learned(units: Sequence[KeyboardResult] | None = None, settings: LearnSettings = ONE) -> Learned:
    results = Line().units(5) if units is None else units
    return learn_limits(results, [f"unit {place}" for place in range(1, len(results) + 1)], settings)


def naturals(units: Sequence[KeyboardResult] | None = None) -> Proposal:
    return next(one for one in learned(units).proposals if one.colour == "natural")


def with_keys(unit: KeyboardResult, change: Callable[[KeyResult], KeyResult]) -> KeyboardResult:
    return replace(unit, keys=tuple(change(key) for key in unit.keys))


def with_down_weight(unit: KeyboardResult, number: int, value: float) -> KeyboardResult:
    def moved(key: KeyResult) -> KeyResult:
        changed = (replace(one, value=value) if one.name == "down_weight" else one for one in key.measurements)
        return replace(key, measurements=tuple(changed)) if key.key.number == number else key

    return with_keys(unit, moved)


def without_flags(unit: KeyboardResult) -> KeyboardResult:
    return with_keys(
        unit, lambda key: replace(key, measurements=tuple(replace(one, flags=()) for one in key.measurements))
    )


def test_limits_lie_on_either_side_of_the_line_that_was_planted() -> None:
    """40 units off a line of 0.50 N with -0.001 N a key: the ends are 43.5 keys from the middle."""
    found = naturals(Line().units(40))

    assert found.lower is not None
    middle = [(low + high) / 2.0 for low, high in zip(found.lower, found.upper, strict=True)]
    assert middle == pytest.approx([0.5435, 0.4565], abs=0.0095)  # 0.02 N / root of 40 units, three times
    assert (found.told.between, found.told.within) == pytest.approx((0.02, 0.01), rel=0.35)
    endless = 3.2905 * np.hypot(0.02, 0.01)  # normal quantile of 99.95 %
    assert 0.75 * endless < found.half_width < 1.5 * endless


def test_few_units_make_wide_limits_and_say_how_many_are_wanted() -> None:
    few, many = naturals(Line().units(3)), naturals(Line().units(40))

    assert few.half_width / few.told.spread > 1.5 * many.half_width / many.told.spread
    assert few.units_wanted is not None
    assert few.units_wanted > 30


def test_units_that_are_good_pass_the_limits_learned_from_their_like() -> None:
    limits = naturals(Line().units(10))

    inside = [
        (limits.lower or (0.0, 0.0))[0] <= 0.5435 + offset <= limits.upper[0]
        for offset in np.random.default_rng(3).normal(0.0, np.hypot(0.02, 0.01), 2000)
    ]

    assert np.mean(inside) >= 0.999 - 0.002


def test_one_unit_says_that_it_cannot_know_how_units_differ() -> None:
    found = learned(Line().units(1))

    assert learned_sentences(found)[0].startswith("one unit tells nothing about how units differ")
    one = found.proposals[0]
    assert one.half_width == pytest.approx(one.told.within * two_sided_factor(52, 0.999, 0.95, dof=50))
    assert one.units_wanted is None
    said = proposal_sentences(one, Units())
    assert "; the keys of a unit scatter by " in said[0]
    assert not any("units scatter" in sentence for sentence in said)


def test_a_unit_measured_twice_is_not_two_units() -> None:
    first = Line().units(1)[0]

    with pytest.raises(CannotLearn, match="unit 1 and unit 2 are one unit, moss-001, measured twice"):
        learned([first, first])


def test_units_without_a_serial_number_are_named() -> None:
    units = [a_unit(None, {}), *Line().units(2)]

    assert any("unit 1: without a serial number" in sentence for sentence in learned_sentences(learned(units)))


def test_units_measured_by_other_settings_are_refused() -> None:
    first, second = Line().units(2)
    other = replace(second, settings=replace(second.settings, feature=replace(second.settings.feature, bed_newton=2.0)))

    with pytest.raises(CannotLearn, match="unit 2 was measured by other settings than unit 1"):
        learned([first, other])


def test_units_of_another_name_are_told() -> None:
    first, second = Line().units(2)
    header = replace(second.header, run=replace(second.header.run, instrument="fern"))

    found = learned([first, replace(second, header=header)])

    assert any("not called alike: fern, moss" in sentence for sentence in learned_sentences(found))


def test_a_key_that_stands_out_of_its_unit_is_named_and_left_out() -> None:
    units = Line().units(5)

    spoiled = naturals([with_down_weight(units[0], 40, 0.9), *units[1:]])

    assert spoiled.stood_out == (("unit 1", Key(40)),)
    assert spoiled.half_width == pytest.approx(naturals(units).half_width, rel=0.05)


def test_limits_narrower_than_a_shared_error_are_said_to_be_good_for_one_calibration_only() -> None:
    wide = naturals()
    narrow = replace(wide, shared_u=wide.half_width)

    words = "good for this calibration only"
    assert words in proposal_sentences(narrow, Units())[-1]
    assert not any(words in sentence for sentence in proposal_sentences(wide, Units()))


def test_a_unit_that_lies_off_as_a_whole_is_told_and_counts_all_the_same() -> None:
    units = Line(between=0.002).units(6)
    off = a_unit("moss-900", {"down_weight": lambda k: 0.60 - 0.001 * (k - 44.5) + 0.01 * np.sin(7.0 * k)})

    found = naturals([*units, off])

    assert (found.off_unit, naturals(units).off_unit) == ("unit 7", None)
    assert found.told.units == 7
    assert any("unit 7 lies off the other units" in sentence for sentence in proposal_sentences(found, Units()))


def test_a_unit_of_which_many_values_stand_out_is_left_out_of_the_measurand() -> None:
    """About half of its keys far above, the others far below."""
    split = a_unit("moss-900", {"down_weight": lambda k: 0.9 if k % 24 < 12 else 0.1})

    found = naturals([*Line().units(24), split])

    assert {label for label, _ in found.stood_out} == {"unit 25"}
    assert found.told.units == 24


def test_a_key_that_a_check_calls_odd_is_no_example() -> None:
    """A key without any measurement, too."""
    keyboard = a_keyboard(bad=frozenset({40}), instrument="moss")
    units = [a_unit(f"moss-{place}", {}, plain=keyboard) for place in range(2)]

    found = learned(units)

    assert found.odd_keys == (("unit 1", Key(40)), ("unit 2", Key(40)))
    assert all(one.told.keys == (51 if one.colour == "natural" else 36) for one in found.proposals)


def test_keys_scatter_by_no_less_than_their_measurement() -> None:
    alike = naturals([a_unit(f"moss-{place}", {"down_weight": lambda _: 0.5}) for place in range(4)])

    assert alike.told.within == pytest.approx(alike.own_u)
    assert alike.half_width > 3.29 * alike.own_u


def test_a_lower_limit_below_zero_is_left_out_where_no_value_is() -> None:
    found = naturals(Line(level=0.1, between=0.03, slope=0.0).units(3))

    assert found.lower is None
    assert "at most" in proposal_sentences(found, Units())[0]


def test_a_hump_in_the_middle_is_told() -> None:
    def humped(place: int) -> KeyboardResult:
        random = np.random.default_rng(place)
        noise = 0.005 * random.standard_normal(89)
        return a_unit(
            f"moss-{place}", {"down_weight": lambda k: 0.5 - 0.1 * ((k - 44.5) / 44.0) ** 2 + float(noise[k])}
        )

    assert naturals([humped(place) for place in range(4)]).curved
    assert not naturals().curved


def test_units_with_too_few_keys_teach_nothing() -> None:
    few = a_unit("moss-001", {}, plain=a_keyboard(range(40, 46), instrument="moss"))

    with pytest.raises(CannotLearn, match=r"5 good keys of one colour in a unit.* are 4 naturals and 2 sharps"):
        learned([few])


def test_a_colour_without_limits_is_told() -> None:
    some = [a_unit(f"moss-{place}", {}, plain=a_keyboard(range(40, 50), instrument="moss")) for place in range(2)]
    whole = learned_sentences(learned())

    said = learned_sentences(learned(some))

    assert "no limits for sharps: it takes 5 good keys of a colour in a unit, and there are 4 at most" in said
    assert not any("no limits for" in sentence for sentence in whole)


def test_a_unit_without_any_good_key_is_named() -> None:
    first, second = Line().units(2)
    nothing = with_keys(second, lambda key: replace(key, curve=None))

    with pytest.raises(CannotLearn, match="no key of unit 2 is good"):
        learned([first, nothing])


def test_sentences_say_what_is_promised_and_what_takes_no_bell_curve() -> None:
    said = learned_sentences(learned(Line().units(10)))

    assert said[0].startswith("10 units: with 95 % confidence each limit holds 99.9 % of the keys of all such units")
    assert said[1] == "of 88 numbers of a good unit up to 0.088 may then lie outside"
    # ten values: the share between the extremes is beta(9, 2), of which the 5 % quantile is 0.606 (table of Wilks);
    # for two it is beta(1, 2): 1 - root 0.95 = 0.0253
    assert "in at least 60 % of further units" in said[2]
    assert said[2].endswith("to say that of 90 % takes 46 units")
    assert "in at least 2.5 % of further units" in learned_sentences(learned(Line().units(2)))[2]


def test_too_few_units_say_how_many_would_do() -> None:
    found = learned(Line().units(3))
    (said,) = (sentence for sentence in learned_sentences(found) if sentence.startswith("3 units are few for "))

    most = max(one.units_wanted or 0 for one in found.proposals)
    assert said.endswith(f"it takes about {most} units to bring them within 10 % of the closest possible")


@pytest.mark.parametrize("units", [Units(), NEWTON_AND_MM, Units("gf", "in")])
def test_a_learned_file_is_read_as_the_limits_that_were_learned(units: Units, tmp_path: Path) -> None:
    found = learned(settings=LearnSettings())
    path = tmp_path / "learned.toml"

    write_learned(path, found, units)

    limits = read_limits(path)
    assert [one.measurand for one in limits.values] == [one.measurand for one in found.proposals]
    for read, told in zip(limits.values, found.proposals, strict=True):
        assert read.upper is not None
        room = 0.011 * told.half_width
        for at, upper in zip((read.upper.at_a0, read.upper.at_c8), told.upper, strict=True):
            assert -1e-9 <= at - upper <= room
        assert (read.lower is None) == (told.lower is None)
        assert {key.colour for key in read.keys} == {told.colour}
    assert limits.letoff is not None
    assert limits.expected.strokes == 3


def test_a_unit_that_taught_the_limits_passes_them(tmp_path: Path) -> None:
    units = [without_flags(unit) for unit in Line().units(5)]
    write_learned(tmp_path / "learned.toml", learned(units), Units())

    verdict = judge(units[2], read_limits(tmp_path / "learned.toml"))

    assert [one for one in verdict.reasons() if one.code == "down_weight"] == []


def test_a_heavy_key_fails_the_learned_limits(tmp_path: Path) -> None:
    units = [without_flags(unit) for unit in Line().units(5)]
    write_learned(tmp_path / "learned.toml", learned(units), Units())

    verdict = judge(with_down_weight(units[2], 40, 0.9), read_limits(tmp_path / "learned.toml"))

    assert [(one.code, one.key) for one in verdict.reasons() if one.outcome == "fail"] == [("down_weight", Key(40))]


def test_a_learned_file_is_not_written_over_another(tmp_path: Path) -> None:
    path = tmp_path / "learned.toml"
    path.write_text("mine")

    with pytest.raises(FileIsThere):
        write_learned(path, learned(), Units())
    assert path.read_text() == "mine"


def test_uncalibrated_units_are_told_in_words_and_file(tmp_path: Path) -> None:
    write_learned(tmp_path / "learned.toml", learned(), Units())

    assert "not calibrated, or by an expired or foreign record" in (tmp_path / "learned.toml").read_text()


def test_the_same_units_give_the_same_file(tmp_path: Path) -> None:
    texts = []
    for name in ("a.toml", "b.toml"):
        write_learned(tmp_path / name, learned(), Units())
        texts.append((tmp_path / name).read_text())

    assert texts[0] == texts[1]
