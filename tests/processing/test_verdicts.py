"""Words for a key: note and notch, and the weight test."""

from __future__ import annotations

import pytest

from processing.display import NEWTON_PER_GF, Units
from processing.stages import KeyResult, Measurement
from processing.verdicts import notch_decides, notch_sentence, note_order, whole_grams
from tests.builders import C4


def told(name: str, value: float | None, *, over: float = 0.01, unit: str = "N") -> Measurement:
    return Measurement(name=name, unit=unit, value=value, u=over / 2.0, coverage_factor=2.0)


def a_key(
    *,
    margin: float | None = None,
    note_gf: float | None = None,
    peak_gf: float | None = 71.0,
    before_gf: float | None = 52.0,
) -> KeyResult:
    def newton(gf: float | None) -> float | None:
        return None if gf is None else gf * NEWTON_PER_GF

    numbers = (
        told("trigger_margin", margin, over=0.05, unit="mm"),
        told("weight_to_note", newton(note_gf)),
        told("letoff_peak_force", newton(peak_gf)),
        told("weight_to_letoff", newton(before_gf)),
    )
    return KeyResult(C4, 3, numbers, "found", (), None)


@pytest.mark.parametrize(
    ("margin", "words"),
    [
        (0.4, "sounds after the notch"),
        (-0.4, "sounds before the notch"),
        (0.05, "cannot be told"),
        (-0.04, "cannot be told"),
        (None, None),
    ],
)
def test_the_order_of_note_and_notch_is_said_only_when_it_is_sure(margin: float | None, words: str | None) -> None:
    assert note_order(a_key(margin=margin)) == words


def test_the_notch_decides_what_a_weight_test_reads() -> None:
    assert (
        notch_sentence(a_key(note_gf=71.0), Units(), in_whole_grams=True)
        == "C4: 71 g sinks it past the notch; without the notch 52 g would."
    )


def test_without_notes_the_peak_is_the_reading() -> None:
    assert notch_sentence(a_key(), Units()) == "C4: 71.0 gf sinks it past the notch; without the notch 52.0 gf would."


@pytest.mark.parametrize(
    "key",
    [
        pytest.param(a_key(note_gf=52.0), id="the note comes before the notch"),
        pytest.param(a_key(note_gf=53.0), id="no surer than its uncertainty of 1.4 gf"),
        pytest.param(a_key(peak_gf=None, before_gf=None), id="no notch"),
    ],
)
def test_where_the_notch_does_not_decide_nothing_is_said(key: KeyResult) -> None:
    assert notch_decides(key) is None
    assert notch_sentence(key, Units()) == ""


@pytest.mark.parametrize(
    ("name", "gf", "grams"),
    [
        pytest.param("weight_to_letoff", 51.2, 52, id="the smallest that sinks it: the next one up"),
        pytest.param("weight_to_note", 52.0, 52, id="52 gf are sunk by 52 g"),
        pytest.param("lift_weight", 27.9, 27, id="the largest it lifts: the next one down"),
        pytest.param("lift_weight", 28.0, 28, id="28 gf lift 28 g"),
    ],
)
def test_whole_grams_are_what_weights_would_read(name: str, gf: float, grams: int) -> None:
    assert whole_grams(told(name, gf * NEWTON_PER_GF)) == grams
