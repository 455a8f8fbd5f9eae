"""Units of one model in a moment: a keyboard is analysed once, its numbers are then what the test says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from processing.keyboard import KeyboardResult
from processing.stages import KeyResult
from tests.processing.keyboards import a_keyboard

ValueOf = Callable[[int], float]
"""Key number to value."""


@cache
def a_moss() -> KeyboardResult:
    """Return a keyboard of 88 keys."""
    return a_keyboard(instrument="moss")


def a_unit(serial: str | None, values: Mapping[str, ValueOf], *, plain: KeyboardResult | None = None) -> KeyboardResult:
    """Return a unit whose measurands are those of a test keyboard, save those given."""
    keyboard = plain or a_moss()
    return replace(
        keyboard,
        header=replace(keyboard.header, run=replace(keyboard.header.run, serial=serial)),
        keys=tuple(_with_values(key, values) for key in keyboard.keys),
    )


def _with_values(key: KeyResult, values: Mapping[str, ValueOf]) -> KeyResult:
    return replace(
        key,
        measurements=tuple(
            replace(one, value=values[one.name](key.key.number)) if one.name in values else one
            for one in key.measurements
        ),
    )


@dataclass(frozen=True, kw_only=True)
class Line:
    """Units off a line: level at the middle and slope a key, and how they and their keys scatter."""

    level: float = 0.50
    slope: float = -0.001
    between: float = 0.02
    within: float = 0.01

    def units(self, count: int, *, seed: int = 1, name: str = "down_weight") -> list[KeyboardResult]:
        """Return units moss-001 on, of which one measurand is drawn."""
        random = np.random.default_rng(seed)
        return [self._unit(f"moss-{number:03d}", name, random) for number in range(1, count + 1)]

    def _unit(self, serial: str, name: str, random: np.random.Generator) -> KeyboardResult:
        offset = self.between * random.standard_normal()
        keys = self.within * random.standard_normal(89)
        return a_unit(serial, {name: lambda k: self.level + self.slope * (k - 44.5) + offset + float(keys[k])})
