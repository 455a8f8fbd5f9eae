"""Reasons in words: nothing is cut silently, and codes are called as people call them."""

from __future__ import annotations

import pytest

from processing.control.pareto import ParetoRow, pareto
from processing.trend.pictures import MOST_REASONS, pareto_charts
from processing.trend.reasons import reason_in_words, reason_sentences


def rows(reasons: int) -> tuple[ParetoRow, ...]:
    """Return reasons r0, r1 ..., the first at the most units, so many as there are reasons."""
    return pareto((f"unit {unit}", f"r{place}") for place in range(reasons) for unit in range(reasons - place))


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("letoff_drop", "Let-off, drop"),
        ("letoff", "Let-off"),
        ("step:down_weight", "Down weight, step to its neighbours"),
        ("stands out:friction", "Friction, stands out"),
        ("finding:note_missing", "Note missing (finding)"),
        ("missing key", "Missing key"),
        ("else:what", "else: What"),
    ],
)
def test_a_reason_is_called_as_people_call_it(code: str, words: str) -> None:
    assert reason_in_words(code) == words


def test_bars_that_are_left_out_are_named_in_the_caption() -> None:
    charts = pareto_charts(rows(MOST_REASONS + 2))

    assert len(charts.panels[0].bars[0].at) == MOST_REASONS
    assert charts.caption.endswith(" 2 rarer reasons: R12, 2 units; R13, 1 unit.")
    assert "rarer" not in pareto_charts(rows(MOST_REASONS)).caption


def test_sentences_say_how_many_units_and_which_reasons_are_rarer() -> None:
    assert reason_sentences(rows(4), 2) == (
        "Why 4 units did not pass, the most frequent reason first; a unit may have several:",
        "  R0: 4 units.",
        "  R1: 3 units; 4 of the 4 have this reason or one above.",
        "  2 rarer reasons: R2, 2 units; R3, 1 unit.",
    )
    assert reason_sentences((), 2) == ()
