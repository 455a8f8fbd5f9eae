"""Which masses are asked for, and when."""

from __future__ import annotations

import pytest

from processing.calibration.errors import TooFewReadings
from processing.calibration.load_plan import plan_stacks, plan_steps
from tests.processing.calibration.benches import the_masses


def grams(stack: tuple[str, ...]) -> float:
    return sum(float(name) for name in stack)


def test_loads_rise_from_a_light_one_to_the_largest_that_the_cell_takes() -> None:
    loads = [grams(stack) for stack in plan_stacks(the_masses(), most_newton=10.0)]

    assert loads == sorted(set(loads))
    assert len(loads) == 6
    assert loads[0] <= 0.05 * loads[-1]  # keys are measured down there
    assert loads[-1] >= 0.9 * 370.0  # what four masses make at most: 200 + 100 + 50 + 20


def test_no_load_is_more_than_the_cell_takes() -> None:
    assert max(grams(stack) for stack in plan_stacks(the_masses(), most_newton=1.5)) <= 1.5 / 0.00980665


def test_a_cell_too_weak_for_the_masses_is_told_before_anything_is_laid_on() -> None:
    with pytest.raises(TooFewReadings, match="these masses make 1 loads up to 15 g"):
        plan_stacks(the_masses(), most_newton=0.15)


def test_a_cycle_goes_up_and_down_between_empty_readings_and_the_first_one_holds_at_the_top() -> None:
    steps = plan_steps((("10",), ("20",), ("50",)), cycles=2)

    shown = ["".join(step.masses) + "h" * step.hold or "-" for step in steps]
    assert shown == ["-", "10", "20", "50", "50h", "20", "10", "-", "10", "20", "50", "20", "10", "-"]
    assert [step.cycle for step in steps] == [0] * 8 + [1] * 6
