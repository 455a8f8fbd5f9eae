"""The budget that every measurement carries: the same numbers as before, the lines of its model, no others."""

from __future__ import annotations

from pathlib import Path

from processing.bent_curves import BENDS
from processing.budget.calibration_lines import DISPLACEMENT_POWERS, FORCE_POWERS
from processing.budget.propagation import combine
from processing.budget.sources import NOISE, OTHERWISE, SOURCES, STROKES
from processing.budget_page import OF_THE_CALIBRATION, put_budget_page
from processing.pipeline import analyse_key
from processing.stages import KeyResult
from recordings.types import KeyRecording
from tests.builders import SETTINGS, Press, SyntheticKey, a_calibration, a_recording, midi

NOTE_ONS = midi(*[(0.2 + (0.6 + 8.2) / 4.0 + stroke * 5.69, b"\x90\x3c\x40") for stroke in range(5)])
RECORDINGS = {
    "plain, three strokes": lambda: a_recording(),
    "one stroke": lambda: a_recording(how=Press(strokes=1)),
    "loud, five strokes, notes": lambda: a_recording(
        SyntheticKey(down=0.6, peak_mm=7.5), Press(strokes=5, noise=0.01, seed=7), events=NOTE_ONS
    ),
    "without a notch": lambda: a_recording(SyntheticKey(peak_rise=0.0), Press(noise=0.004)),
}


def result_of(recording: KeyRecording) -> KeyResult:
    return analyse_key(recording, a_calibration(compliance_mm_per_newton=0.01), SETTINGS)


def test_every_number_has_the_lines_of_its_model_and_no_others() -> None:
    result = result_of(RECORDINGS["loud, five strokes, notes"]())

    for measurement in (m for m in result.measurements if m.value is not None):
        assert measurement.budget is not None
        expected = {source.name for source in SOURCES if source.acts_on(measurement.name)}
        assert {line.name for line in measurement.budget.lines} == expected | {NOISE, STROKES} | {
            name for name, _, _ in OTHERWISE
        }
        assert combine(measurement.budget).u == measurement.u


def test_a_missing_number_has_no_budget() -> None:
    result = result_of(RECORDINGS["without a notch"]())

    assert result["letoff_drop"].budget is None


def test_the_page_of_budgets_is_written_from_the_code() -> None:
    """If this fails: `make budget-page`."""
    page = (Path(__file__).parents[2] / "docs" / "budget.md").read_text(encoding="utf-8")

    assert put_budget_page(page) == page


def test_the_page_tells_of_every_constant_that_can_be_bent() -> None:
    told = [name for name, _, _ in OF_THE_CALIBRATION]

    assert {bend.constant for bend in BENDS} <= set(told)
    assert {*FORCE_POWERS, *DISPLACEMENT_POWERS} <= set(told)
