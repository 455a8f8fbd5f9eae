"""Which masses lie on when: stacks up and down again, over several cycles, from a list of masses.

How it works: loads rise as squares, so that the lower part of the range, where keys are measured, has its share of
them; each is made of few masses that come near it, and no load is made twice. At the top of the first cycle one
reading is repeated after a while: the hold that shows creep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from processing.calibration.errors import TooFewReadings
from processing.calibration.masses import MassList

LEVELS = 6
"""Five are needed to tell a bent scale from a wrong mass; one more may turn out to be a mistake."""
FEWEST_LEVELS = 3
MOST_IN_A_STACK = 4
"""More do not stand well on a small pan."""
STANDARD_NEWTON_PER_GRAM = 0.00980665


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One reading to be taken. cycle: from 0; hold: the stack stays from the step before."""

    masses: tuple[str, ...]
    cycle: int
    hold: bool = False


def plan_stacks(masses: MassList, most_newton: float, levels: int = LEVELS) -> tuple[tuple[str, ...], ...]:
    """Return stacks of rising load up to most_newton. Raises TooFewReadings if fewer than three are possible."""
    most_g = most_newton / STANDARD_NEWTON_PER_GRAM
    weight = {mass.name: mass.nominal_g for mass in masses.masses}
    possible: dict[float, tuple[str, ...]] = {}
    for size in range(MOST_IN_A_STACK, 0, -1):  # smaller stacks last: they replace larger ones of the same load
        of_size: dict[float, tuple[str, ...]] = {}
        for stack in combinations(sorted(weight, key=lambda name: -weight[name]), size):
            of_size.setdefault(round(sum(weight[name] for name in stack), 6), stack)
        possible |= {load: stack for load, stack in of_size.items() if load <= most_g}
    loads = sorted(possible)
    if len(loads) < FEWEST_LEVELS:
        raise TooFewReadings(
            f"these masses make {len(loads)} loads up to {most_g:.0f} g, which is as much as the cell takes;"
            f" {FEWEST_LEVELS} at least are needed"
        )
    wanted = min(levels, len(loads))
    chosen: list[float] = []
    for place in range(wanted, 0, -1):
        target = loads[-1] * (place / wanted) ** 2
        left = [load for load in loads if load not in chosen]
        chosen.append(min(left, key=lambda load: abs(load / target - 1.0) + SHARE_FOR_A_MASS * len(possible[load])))
    return tuple(possible[load] for load in sorted(chosen))


SHARE_FOR_A_MASS = 0.08
"""So far off its target a load may be to need one mass less."""


def plan_steps(stacks: Sequence[tuple[str, ...]], cycles: int) -> tuple[PlannedStep, ...]:
    """Return the readings of some cycles: empty, up, down, empty, and so on; with one hold in the first cycle."""
    steps = [PlannedStep((), 0)]
    for cycle in range(cycles):
        steps += [PlannedStep(stack, cycle) for stack in stacks]
        if cycle == 0:
            steps.append(PlannedStep(stacks[-1], cycle, hold=True))
        steps += [PlannedStep(stack, cycle) for stack in reversed(stacks[:-1])]
        steps.append(PlannedStep((), cycle))
    return tuple(steps)
