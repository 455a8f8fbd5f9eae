"""The order in which a report's first page tells what a comparison has found."""

from __future__ import annotations

import pytest

from processing.comparison.compare import compare_keyboards
from processing.comparison.sentences import sentences_of
from processing.comparison.types import Comparison
from processing.display import Units
from processing.report.headlines import weightiest_first
from tests.processing.comparison.keyboards import a_keyboard, the_scenario


@pytest.fixture(scope="module")
def demo() -> Comparison:
    return compare_keyboards([the_scenario("fern"), the_scenario("moss")], ["fern", "moss"])


def test_nothing_is_lost_or_invented(demo: Comparison) -> None:
    assert sorted(weightiest_first(demo, Units())) == sorted(sentences_of(demo, Units()))


def test_the_difference_that_is_most_times_what_a_hand_notices_leads(demo: Comparison) -> None:
    """Planted in the demo: in the top two octaves notes of moss stop 1.8 mm sooner, four times the guide's 0.4 mm."""
    told = [sentence for sentence in weightiest_first(demo, Units()) if " was found" not in sentence]
    most = max(
        (one for one in demo.pairs[0].differences if one.verdict == "different" and one.noticed is not None),
        key=lambda one: abs(one.mean.estimate.value) / one.noticed.to_difference,  # type: ignore[union-attr]
    )

    assert (most.name, most.region.name) == ("release_position", "treble")
    assert told[0].startswith("On the way up the note of moss stops 1.8")
    assert "Left out of all means" in told[-1]


def test_what_the_guide_calls_noticeable_comes_before_what_it_does_not(demo: Comparison) -> None:
    """Friction of moss is 3.2 gf more, of some 53 gf that the finger feels: 6 %, under the guide's 7 to 10 %."""
    told = weightiest_first(demo, Units())
    friction = next(place for place, sentence in enumerate(told) if "more friction" in sentence)
    aftertouch = next(place for place, sentence in enumerate(told) if "Behind the notch" in sentence)

    assert aftertouch < friction


def test_keyboards_that_do_not_differ_say_so() -> None:
    alike = compare_keyboards([a_keyboard(seed=1), a_keyboard(seed=2)], ["a", "b"])

    assert weightiest_first(alike, Units())[0] == "No sure difference between a and b."
