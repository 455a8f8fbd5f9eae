"""Planted changes are found, named, and their places lie in their intervals as often as stated."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import binom

from processing.control.change_points import Event, find_event
from processing.stages import FloatArray

COUNT, BASELINE, TRIES = 120, 30, 150
Shape = Callable[[int], FloatArray]


def step(at: int) -> FloatArray:
    return (np.arange(COUNT) >= at) * 1.0


def drift(at: int) -> FloatArray:
    return np.clip(np.arange(COUNT) - at + 1.0, 0.0, None)


def batch(at: int) -> FloatArray:
    place = np.arange(COUNT)
    return ((place >= at) & (place < at + 12)) * 1.0


@pytest.mark.parametrize(("kind", "shape", "size"), [("step", step, 2.0), ("drift", drift, 0.1), ("batch", batch, 3.0)])
def test_a_planted_change_is_told_by_its_kind_and_its_place_lies_in_its_interval(
    kind: str, shape: Shape, size: float
) -> None:
    random = np.random.default_rng(4)
    places = random.integers(45, 80, TRIES)
    found = [
        (at, event)
        for at in places.tolist()
        if (event := find_event(random.standard_normal(COUNT) + size * shape(at), after=BASELINE)) is not None
    ]
    named = [(at, event) for at, event in found if event.kind == kind]
    held = sum(event.first_between[0] <= at <= event.first_between[1] for at, event in named)

    assert len(named) >= 0.93 * TRIES
    assert held >= binom.ppf(0.001, len(named), 0.95)


def test_without_noise_a_change_is_found_exactly() -> None:
    for shape, kind in ((step, "step"), (drift, "drift"), (batch, "batch")):
        event = find_event(5.0 + 0.5 * shape(60), after=BASELINE)
        assert event is not None
        assert (event.kind, event.first, event.first_between) == (kind, 60, (60, 60))
        assert event.contribution == pytest.approx(0.5 * shape(60), abs=1e-6)


@pytest.mark.parametrize("shape", [step, drift, batch])
def test_a_fit_is_that_of_least_squares(shape: Shape) -> None:
    """Against numpy's least squares with the shape at the place that was found."""
    values = np.random.default_rng(8).standard_normal(COUNT) + 0.5 * shape(60)

    event = find_event(values, after=BASELINE)

    assert event is not None
    design = np.column_stack([np.ones(COUNT), event.contribution / event.size])
    (_, size), (left,), *_ = np.linalg.lstsq(design, values)
    assert event.size == pytest.approx(size)
    norm = np.linalg.inv(design.T @ design)[1, 1]
    assert event.size_u == pytest.approx(np.sqrt(left / (COUNT - 2) * norm))


def test_a_line_of_thousands_of_units_is_looked_through_too() -> None:
    values = np.random.default_rng(9).standard_normal(4000)
    values[2500:] += 1.0

    event = find_event(values, after=BASELINE)

    assert event is not None
    assert event.kind == "step"
    assert event.first_between[0] <= 2500 <= event.first_between[1]


def test_one_odd_unit_is_no_batch() -> None:
    values = np.zeros(COUNT)
    values[70] = 4.0

    event = find_event(values + 1e-3 * np.sin(np.arange(COUNT)), after=BASELINE)

    assert event is not None
    assert (event.kind, event.first, event.last) == ("single unit", 70, 70)


def test_nothing_is_sought_in_the_baseline() -> None:
    event = find_event(step(10) + 1e-3 * np.sin(np.arange(COUNT)), after=BASELINE)

    assert event is not None
    assert event.first >= BASELINE


def test_a_step_of_known_size_has_the_uncertainty_of_two_means() -> None:
    """u = sigma * sqrt(1 / n1 + 1 / n2)."""
    random = np.random.default_rng(6)
    events = [find_event(random.standard_normal(COUNT) + 8.0 * step(60), after=BASELINE) for _ in range(200)]
    sizes = [event.size for event in events if isinstance(event, Event)]

    assert np.std(sizes) == pytest.approx(np.sqrt(2.0 / 60.0), rel=0.15)
    assert np.mean([event.size_u for event in events if event]) == pytest.approx(np.sqrt(2.0 / 60.0), rel=0.05)


def test_equal_values_hold_no_event() -> None:
    assert find_event(np.ones(50), after=20) is None
