"""What one keyboard has and the other has not: only where both could tell, and neighbours are not many witnesses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest, norm

from benchmarks.error_rates import faded
from processing.comparison.cautions import cautions_of
from processing.comparison.presence import Presence, not_told, presences, tosses
from processing.features.read_off import NOT_HEARD
from processing.keyboard import KeyboardResult
from processing.stages import KeyResult, Measurement
from tests.processing.comparison.keyboards import renamed, the_scenario
from tests.processing.comparison.pairs import a_pair


def changed(result: KeyboardResult, name: str, reason: str, keys: slice = slice(None)) -> KeyboardResult:
    """A recording in which some keys lack a number, for a reason."""

    def lacking(key: KeyResult) -> KeyResult:
        told = tuple(
            Measurement(name=one.name, unit=one.unit, value=None, reason=reason) if one.name == name else one
            for one in key.measurements
        )
        return replace(key, measurements=told)

    without = {key.key for key in result.keys[keys]}
    return replace(result, keys=tuple(lacking(key) if key.key in without else key for key in result.keys))


def not_let_up(result: KeyboardResult) -> KeyboardResult:
    def pressed_only(key: KeyResult) -> KeyResult:
        assert key.curve is not None
        return replace(key, curve=replace(key.curve, up_newton=None, up_u_newton=None))

    one_way = replace(result, keys=tuple(pressed_only(key) for key in result.keys))
    return changed(one_way, "damper_step", "no damper step on both ways")


def measured(result: KeyboardResult) -> dict[int, KeyResult]:
    return {key.key.number: key for key in result.keys}


def p_of(second: KeyboardResult) -> dict[str, float]:
    return {one.name: one.p for one in presences(measured(the_scenario("fern")), measured(second))}


def cautions(second: KeyboardResult) -> tuple[str, ...]:
    return cautions_of([the_scenario("fern"), renamed(second, "moss")], ["fern", "moss"], [a_pair()], 0.05)


def test_a_recording_without_any_note_events_says_nothing_of_notes() -> None:
    """fern's own keys again, through a rig whose MIDI cable was not plugged in."""
    unheard = changed(the_scenario("fern"), "trigger_position", NOT_HEARD)

    assert p_of(unheard).keys() == {"letoff", "damper"}
    assert (
        "moss: no note events were recorded, so on how many keys there is a note is not compared between fern and moss."
        in cautions(unheard)
    )


def test_silent_keys_among_sounding_ones_are_told() -> None:
    """A dead key makes no events of its own; that its neighbours do shows that somebody listened."""
    silent = changed(the_scenario("fern"), "trigger_position", NOT_HEARD, slice(0, 70))

    assert p_of(silent)["note"] < 0.05 / 203  # the tests of two whole keyboards
    assert not any("a note" in caution for caution in cautions(silent))


def test_keys_that_were_not_let_up_say_nothing_of_dampers() -> None:
    pressed = not_let_up(the_scenario("fern"))

    assert "damper" not in p_of(pressed)
    assert any(
        "moss: no key was let up, so on how many keys there is a damper step" in one for one in cautions(pressed)
    )


def test_what_neither_recording_could_tell_needs_no_caution() -> None:
    keys = measured(not_let_up(the_scenario("fern")))

    assert not_told(keys, keys) == []
    assert [one.name for one in presences(keys, keys)] == ["letoff", "note"]


@pytest.mark.parametrize(
    ("only_first", "only_second", "counts"),
    [
        ([10, 11, 12, 13], [], (1, 0)),
        ([10, 11, 12, 13, 14], [], (2, 0)),
        ([10, 12], [11], (2, 1)),  # they take turns: three tosses
        ([10, 30], [50], (2, 1)),
        (list(range(1, 71)), [], (18, 0)),  # 70 dampers
    ],
)
def test_neighbours_that_speak_for_one_keyboard_are_one_toss(
    only_first: list[int], only_second: list[int], counts: tuple[int, int]
) -> None:
    assert tosses(only_first, only_second) == counts


def a_presence_by_chance(random: np.random.Generator, fading: float, share: float) -> Presence:
    """Of 88 keys, a share has the part in either keyboard, and neighbours are alike in it."""
    first, second = (faded(random, 88, fading) < norm.ppf(share) for _ in range(2))
    only = [tuple(np.flatnonzero(here & ~there).tolist()) for here, there in ((first, second), (second, first))]
    return Presence("note", "note", 88, int(first.sum()), int(second.sum()), *only)


@pytest.mark.parametrize("fading", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("share", [0.5, 0.9])
def test_parts_that_neighbours_share_are_called_different_no_more_often_than_stated(
    fading: float, share: float
) -> None:
    """With keys as the tosses it was 13 to 16 % at a fading of 0.5 and a share of a half."""
    random = np.random.default_rng(17)
    trials = 400

    cried = sum(a_presence_by_chance(random, fading, share).p < 0.05 for _ in range(trials))

    assert binomtest(cried, trials, 0.05, alternative="greater").pvalue > 0.005
