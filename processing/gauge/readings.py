"""Readings of a crossed study as a block: parts by operators by trials, every place filled once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.errors import StudyUnfit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one part, read by one operator in one trial."""

    part: str
    operator: str
    trial: str
    value: float


@dataclass(frozen=True, slots=True, eq=False)
class Crossed:
    """A balanced block of readings."""

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    values: Array
    """(parts, operators, trials)."""

    @property
    def trials(self) -> int:
        """How often each operator has read each part."""
        return int(self.values.shape[2])


def crossed_of(readings: Iterable[Reading], *, least_parts: int = 2) -> Crossed:
    """Return readings as a block; parts and operators in the order of their first reading.

    Raises StudyUnfit if a place is empty or filled twice, or if there are not two of each at least (of parts:
    `least_parts`).
    """
    kept = list(readings)
    parts, operators, trials = (
        tuple(dict.fromkeys(getattr(one, name) for one in kept)) for name in ("part", "operator", "trial")
    )
    for what, found, least in (("parts", parts, least_parts), ("operators", operators, 2), ("trials", trials, 2)):
        if len(found) < least:
            raise StudyUnfit(f"{len(found)} {what}", f"a crossed study needs {least} {what} at least")
    _demand_balanced(kept, parts, operators, trials)
    values = np.empty((len(parts), len(operators), len(trials)))
    for one in kept:
        values[parts.index(one.part), operators.index(one.operator), trials.index(one.trial)] = one.value
    values.flags.writeable = False
    return Crossed(parts, operators, values)


def _demand_balanced(
    kept: list[Reading], parts: tuple[str, ...], operators: tuple[str, ...], trials: tuple[str, ...]
) -> None:
    times = Counter((one.part, one.operator, one.trial) for one in kept)
    for part in parts:
        for operator in operators:
            for trial in trials:
                count = times[part, operator, trial]
                if count != 1:
                    place = f"part {part}, operator {operator}, trial {trial}"
                    raise StudyUnfit(
                        f"{place}: {count} readings", "every operator reads every part once in every trial"
                    )
