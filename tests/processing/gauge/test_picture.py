"""What the pictures of gauge studies show, read from their axes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from processing.display import Units
from processing.gauge import picture
from processing.gauge.crossed import study_of
from processing.gauge.readings import Reading, crossed_of
from processing.gauge.stability import Day, day_of, stability_of
from processing.gauge.verdict import judge_study
from tests.processing.gauge.truths import aiag


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """The figures that would have been written."""
    figures: list[Figure] = []
    monkeypatch.setattr(picture, "_save", lambda figure, _: figures.append(figure))
    return figures


def spreads_of(study: object, drawn: list[Figure]) -> Axes:
    picture.draw_studies([judge_study("value", "1", study, None)], Path("x.png"), Units(), "x")  # type: ignore[arg-type]
    return drawn[-1].axes[0]


def rows_of(axes: Axes) -> list[str]:
    return [label.get_text() for label in axes.get_yticklabels()]


def test_a_component_of_nothing_is_drawn_at_a_true_zero(drawn: list[Figure]) -> None:
    """Operators who differ by less than repeated readings explain: the estimate is 0, its interval is not."""
    chance = np.random.default_rng(2)
    study = study_of(
        crossed_of(
            Reading(f"{p}", f"{o}", f"{t}", p + 0.1 * chance.standard_normal())
            for p in range(8)
            for o in range(2)
            for t in range(2)
        )
    )
    axes = spreads_of(study, drawn)
    row = rows_of(axes).index(picture.NAMES["reproducibility"])
    lines = [line for line in axes.get_lines() if line.get_ydata()[0] == row]  # type: ignore[index]

    assert study["reproducibility"].sd == 0.0 < study["reproducibility"].upper
    assert [list(line.get_xdata()) for line in lines] == [[0.0, study["reproducibility"].upper], [0.0]]
    assert axes.get_xlim()[0] == 0.0
    assert axes.get_xticklabels()[0].get_text() == "0"


def test_an_interaction_that_was_pooled_is_said_to_be(drawn: list[Figure]) -> None:
    axes = spreads_of(study_of(aiag()), drawn)

    assert len(rows_of(axes)) == 6
    assert [text.get_text() for text in axes.texts] == ["counted as repeats"]


def chart_of(days: list[Day], drawn: list[Figure]) -> tuple[Axes, Axes]:
    picture.draw_stability(stability_of(days), Path("x.png"), "N", Units(), "x")
    means, spreads = drawn[-1].axes
    return means, spreads


def diamonds(axes: Axes) -> list[float]:
    return [float(line.get_xdata()[0]) for line in axes.get_lines() if line.get_marker() == "D"]  # type: ignore[index]


def test_a_day_is_marked_only_in_the_panel_in_which_it_is_out(drawn: list[Figure]) -> None:
    chance = np.random.default_rng(4)
    quiet = [day_of(f"{n}", list(0.5 + 0.001 * chance.standard_normal(4))) for n in range(20)]
    far, wide = [day_of("far", [0.51, 0.511]), day_of("wide", [0.49, 0.49, 0.51, 0.51])]
    means, spreads = chart_of([*quiet, far, wide], drawn)

    assert diamonds(means) == [20.0]
    assert diamonds(spreads) == [21.0]


@pytest.mark.parametrize("count", [10, 26, 90])
def test_no_label_of_a_day_runs_into_the_next(count: int, drawn: list[Figure]) -> None:
    """Aslant labels are told apart by the distance of their lines, which is that of their ends times the slant."""
    _, spreads = chart_of([day_of(f"2026-03-{n:02d}", [0.5 + 0.001 * (n % 3)]) for n in range(count)], drawn)
    drawn[-1].draw_without_rendering()
    labels = spreads.get_xticklabels()
    ends = sorted(float(spreads.transData.transform((tick, 0.0))[0]) for tick in spreads.get_xticks())
    height = labels[0].get_fontsize() * drawn[-1].dpi / 72.0

    assert labels[0].get_text() == f"2026-03-{count - 1:02d}"  # the day that is judged
    assert min(np.diff(ends)) * np.sin(np.radians(labels[0].get_rotation())) > height
