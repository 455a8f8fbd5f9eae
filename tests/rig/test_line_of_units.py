"""A line of units: each differs by its own scatter, and by what was planted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rig.errors import MalformedScenario
from rig.virtual.line_of_units import LINE_FOLDER, Line, keys_of_unit, load_line, scenario_of_unit, serial_of
from rig.virtual.scenario import load_scenario

MOSS = load_line("moss")
MODEL = load_scenario("moss")


def level(line: Line, unit: int, quantity: str) -> float:
    return float(getattr(scenario_of_unit(line, MODEL, unit).quantities, quantity).bass)


@pytest.mark.parametrize(
    ("quantity", "unit", "planted"),
    [
        ("friction_newton", 119, 0.0),
        ("friction_newton", 210, 0.009),
        ("friction_newton", 300, 0.018),
        ("letoff_crest_mm", 199, 0.0),
        ("letoff_crest_mm", 200, -0.08),
        ("letoff_crest_mm", 300, -0.08),
        ("balance_newton", 69, 0.0),
        ("balance_newton", 70, -0.05),
        ("balance_newton", 79, -0.05),
        ("balance_newton", 80, 0.0),
    ],
)
def test_events_shift_a_quantity_where_they_were_planted(quantity: str, unit: int, planted: float) -> None:
    without = MOSS.model_copy(update={"events": ()})

    assert level(MOSS, unit, quantity) - level(without, unit, quantity) == pytest.approx(planted, abs=1e-12)


def test_units_scatter_as_the_file_says() -> None:
    levels = [level(MOSS, unit, "friction_newton") for unit in range(1, 120)]

    assert np.mean(levels) == pytest.approx(MODEL.quantities.friction_newton.bass, abs=4 * 0.002 / np.sqrt(119))
    assert np.std(levels) == pytest.approx(MOSS.unit_scatter["friction_newton"], rel=0.3)


def test_a_unit_is_the_same_whichever_is_made_first() -> None:
    again = load_line("moss")
    keys_of_unit(again, 8)

    assert keys_of_unit(again, 7) == keys_of_unit(MOSS, 7)
    assert keys_of_unit(MOSS, 7) != keys_of_unit(MOSS, 8)
    assert tuple(key.number for key in keys_of_unit(MOSS, 7)) == MOSS.keys


def test_bad_keys_are_wrong_and_no_others() -> None:
    made = {bad.unit: keys_of_unit(MOSS, bad.unit) for bad in MOSS.bad_keys}
    faults = [(unit, key.number, key.fault) for unit, keys in made.items() for key in keys if key.fault]

    assert faults == [(bad.unit, bad.key, bad.kind) for bad in MOSS.bad_keys]
    assert all(key.fault is None for key in keys_of_unit(MOSS, 1))


def test_units_are_named_by_model_and_number() -> None:
    assert [serial_of(MOSS, unit) for unit in (1, 42, 300)] == ["moss-001", "moss-042", "moss-300"]


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ('quantity = "friction_newton"', 'quantity = "luck"', "no quantity"),
        ("to_unit = 79", "to_unit = 70", "begins with 70"),
        ("letoff_crest_mm = 0.015", "luck = 1.0", "luck: no such quantity"),
        ("units = 300", "units = 0", "units"),
        ("units = 300", "unts = 300", "unts: there is no such entry; is it misspelt for units"),
        ("units = 300", "units = 300\nluck = 1", "luck: there is no such entry; known are scenario, seed, units"),
        ("amount = -0.05", "amont = -0.05", r"events.2.amont: there is no such entry; is it misspelt for amount"),
        ("unit = 262", "unit = 301", "bad_keys: key 34 of unit 301 is not among its units and keys"),
        ("key = 34", "key = 35", "bad_keys: key 35 of unit 262 is not among"),
        ("to_unit = 79", "to_unit = 301", "events: one ends with unit 301; there are 300"),
        ("[unit_scatter]", "[unit_scatter", "line"),
    ],
)
def test_a_malformed_line_is_refused_with_its_place(before: str, after: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    text = (LINE_FOLDER / "moss.toml").read_text()
    assert before in text
    path.write_text(text.replace(before, after))

    with pytest.raises(MalformedScenario, match=words):
        load_line(str(path))


def test_an_unknown_line_is_refused() -> None:
    with pytest.raises(MalformedScenario, match="built in is moss"):
        load_line("fern")
