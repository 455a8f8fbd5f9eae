"""The line a person sees while pressing by hand."""

from __future__ import annotations

import pytest
from rich.markup import render

from daq.verdict import FaultKind, Now, NowState, StrokeFault, StrokeVerdict
from keyplumb.commands.hand_screen import BAR_WIDTH, word_and_bar


def a_verdict(*faults: StrokeFault) -> StrokeVerdict:
    return StrokeVerdict(
        faults=faults,
        first_sample=0,
        last_sample=1,
        tick_us=1,
        down_mm_per_s=4.2,
        up_mm_per_s=4.0,
        unevenness=0.2,
        reversal_mm=0.0,
        peak_newton=4.5,
        depth_mm=10.0,
    )


FAST = StrokeFault(FaultKind.TOO_FAST, 20.0, 10.0, "mm/s", "Move more slowly.")
SHORT = StrokeFault(FaultKind.NOT_TO_THE_BED, 1.5, 3.0, "N", "Press on.")


def test_a_good_stroke_is_one_word_and_a_full_bar() -> None:
    line = word_and_bar(a_verdict())

    assert line.startswith("GOOD ")
    assert line.count("#") == BAR_WIDTH
    assert "4.2 mm/s" in line


@pytest.mark.parametrize(
    ("fault", "said"),
    [(FAST, "20 mm/s, at most 10 mm/s. Move more slowly."), (SHORT, "1.5 N uncalibrated, at least 3 N uncalibrated.")],
)
def test_a_fault_is_said_with_number_limit_and_advice(fault: StrokeFault, said: str) -> None:
    line = word_and_bar(a_verdict(fault))

    assert line.startswith(fault.word.upper())
    assert said in line
    assert line.count("|") == 1


def test_the_limit_lies_on_the_bar_where_it_is_on_the_scale() -> None:
    beyond, short_of = (word_and_bar(a_verdict(fault)).split("(")[1].split(")")[0] for fault in (FAST, SHORT))

    assert beyond.index("|") == pytest.approx(BAR_WIDTH / 2, abs=1)
    assert beyond.endswith("#")
    assert short_of == "#" * (BAR_WIDTH // 2) + "." * (BAR_WIDTH // 2 - 1) + "|"


def test_further_faults_are_named() -> None:
    assert word_and_bar(a_verdict(SHORT, FAST)).endswith("Also: too fast.")


@pytest.mark.parametrize("state", list(NowState))
@pytest.mark.parametrize("share", [0.0, 0.37, 1.0])
def test_the_moment_is_a_word_and_the_share_of_the_way(state: NowState, share: float) -> None:
    line = word_and_bar(Now(state, 10.0 * share, 0.5, 4.0, share))

    assert line.startswith(state.value)
    assert line.count("#") == round(share * BAR_WIDTH)


def test_forces_shown_while_pressing_are_marked_for_they_rest_on_the_stated_scale() -> None:
    assert "N uncalibrated" in word_and_bar(a_verdict())
    assert "0.50 N uncalibrated" in word_and_bar(Now(next(iter(NowState)), 1.0, 0.5, 4.0, 0.1))


def test_a_force_that_is_not_known_yet_is_a_dash() -> None:
    assert "-   N" in word_and_bar(Now(NowState.WAITING, 0.0, None, 0.0, 0.0))


def test_every_line_is_plain_characters_on_one_line() -> None:
    for line in (word_and_bar(a_verdict(FAST)), word_and_bar(Now(NowState.GOING_DOWN, 1.0, 0.5, 4.0, 0.1))):
        assert line.isascii()
        assert line.isprintable()
        assert render(line).plain == line
