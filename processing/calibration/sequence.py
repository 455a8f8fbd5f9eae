"""A loading sequence: what lay on at each step, what the cell showed, and the zero that belongs to each.

How it works: steps stand in the order in which they were taken. The zero at a step's time lies on the straight line
between the empty readings before and after it, so a drift that is slow against a cycle takes itself out. A step that
repeats the stack of the step before is a hold: it tells creep and takes no part in the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from processing.calibration.errors import TooFewReadings
from processing.stages import FloatArray

Way = Literal["empty", "up", "down", "hold"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadStep:
    """One reading of the cell."""

    masses: tuple[str, ...]
    """Names of the masses that should lie on; none: the empty pan."""
    mean_counts: float
    sd_counts: float
    """Standard deviation of one sample."""
    samples: int
    time_s: float
    """Middle of the reading, on one clock for the whole sequence."""
    settled: bool = True
    """False: the reading had not come to rest when the waiting was over."""


def same_stack(one: LoadStep, other: LoadStep) -> bool:
    """Tell whether two steps carry the same masses, in whatever order they were laid on."""
    return sorted(one.masses) == sorted(other.masses)


def ways(steps: Sequence[LoadStep], force_newton: FloatArray) -> list[Way]:
    """Return how each step was come to: by adding load, by taking off, by waiting; or that the pan was empty."""
    found: list[Way] = []
    for place, step in enumerate(steps):
        if not step.masses:
            found.append("empty")
        elif place and same_stack(step, steps[place - 1]):
            found.append("hold")
        elif place and force_newton[place] < force_newton[place - 1]:
            found.append("down")
        else:
            found.append("up")
    return found


def cycles(steps: Sequence[LoadStep]) -> list[int]:
    """Return the number of each step's cycle, from 0: a cycle begins with the first load after an empty pan."""
    numbers, number = [], -1
    for place, step in enumerate(steps):
        if step.masses and (place == 0 or not steps[place - 1].masses):
            number += 1
        numbers.append(max(number, 0))
    return numbers


def net_counts(steps: Sequence[LoadStep]) -> FloatArray:
    """Return what each step shows above the zero of its time, (N,).

    Raises TooFewReadings if there is no reading of the empty pan before the first load and after the last.
    """
    if len(steps) < 3 or steps[0].masses or steps[-1].masses:
        raise TooFewReadings(
            "a sequence begins and ends with a reading of the empty pan; read the zero before and after"
        )
    empty = [step for step in steps if not step.masses]
    times, zeros = [step.time_s for step in empty], [step.mean_counts for step in empty]
    counts = np.array([step.mean_counts for step in steps])
    net: FloatArray = counts - np.interp([step.time_s for step in steps], times, zeros)
    return net
