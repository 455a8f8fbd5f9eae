"""What an item of fitness is given and what it says.

How it works: the evidence is the trial with its rest in physical units; an item returns a judgement, or raises
NotTried with the reason, which becomes the verdict `not tried`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from processing.errors import NotTried
from processing.fitness.settings import FitnessSettings
from processing.stages import FloatArray
from recordings.trial import Trial
from recordings.types import Calibration, RawTrace, RigInfo

Verdict = Literal["fit", "poor", "unfit", "not tried"]
Overall = Literal["fit", "unfit", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Value:
    """One number of an item, in N, mm, s, Hz, us or counts."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What one item shows."""

    verdict: Verdict
    values: tuple[Value, ...]
    """The first is the one that is judged."""
    poor_beyond: float | None
    """In the unit of the first value, as a distance from what it should be; None: not judged by one number."""
    unfit_beyond: float | None
    template: str
    """The words, with {} where a number goes: numbers are shown in the reader's units."""
    numbers: tuple[tuple[float, str], ...] = ()
    advice: str = ""
    """What to do; empty when there is nothing to do."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What an item may look at."""

    trial: Trial
    settings: FitnessSettings
    force_newton: FloatArray
    """Of the rest, (N,), the cell's zero included."""
    time_s: FloatArray
    """Of the rest, (N,), from 0, by the rig's ticks."""

    @property
    def rate_hz(self) -> float:
        """Samples per second as the ticks show it. Raises NotTried if there are too few."""
        self.need_rest()
        numbers = self.trial.rest.sample_number
        return float((numbers[-1] - numbers[0]) / self.time_s[-1])

    def need_rest(self) -> None:
        """Raise NotTried unless the rest is long enough to be judged."""
        settings, count = self.settings, len(self.time_s)
        lasted_s = float(self.time_s[-1]) if count else 0.0
        if count < settings.fewest_samples or lasted_s < 0.95 * settings.shortest_rest_s:
            raise NotTried(
                f"the rest has {count} samples in {lasted_s:.3g} s; {settings.fewest_samples} samples and "
                f"{settings.shortest_rest_s:g} s are needed",
                "rest longer with --seconds, and look why samples are missing",
            )

    def need_live_force(self) -> None:
        """Raise NotTried unless the force changes at rest: of a channel that shows one count nothing can be told."""
        self.need_rest()
        if np.ptp(self.force_newton) == 0.0:
            raise NotTried("the force shows one and the same count at rest", "see the item on the force channel")

    def unbroken(self, longest_s: float = np.inf) -> FloatArray:
        """Return the force of the longest stretch of the rest without a lost sample, in N, cut to longest_s.

        Raises NotTried if there is no stretch that is long enough, or the force is dead.
        """
        self.need_live_force()
        rate_hz = self.rate_hz
        ends = np.flatnonzero(np.diff(self.trial.rest.sample_number) != 1) + 1
        longest = max(np.split(self.force_newton, ends), key=len)
        if len(longest) < self.settings.fewest_samples:
            raise NotTried(
                f"samples are lost so often that the longest whole stretch is {len(longest)} samples",
                "mend the cable first, see the item on lost samples",
            )
        return longest[: round(min(longest_s * rate_hz, len(longest)))]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that makes a rig fit: its name, a caption for people, and what judges it."""

    name: str
    caption: str
    essential: bool
    """True: without it nobody can say that the rig is fit."""
    judge: Callable[[Evidence], Judgement]


@dataclass(frozen=True, slots=True)
class ItemResult:
    """An item and what it showed."""

    item: Item
    judgement: Judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitness:
    """All items of one trial and the verdict over them."""

    started_at: datetime
    rig: RigInfo
    calibration: Calibration
    overall: Overall
    items: tuple[ItemResult, ...]
    settings: FitnessSettings

    def __getitem__(self, name: str) -> Judgement:
        return next(result.judgement for result in self.items if result.item.name == name)

    def with_verdict(self, verdict: Verdict) -> tuple[ItemResult, ...]:
        """Return the items that have this verdict."""
        return tuple(result for result in self.items if result.judgement.verdict == verdict)


def gather(trial: Trial, settings: FitnessSettings) -> Evidence:
    """Return the evidence of a trial."""
    return Evidence(trial, settings, newtons(trial.rest, trial), seconds(trial.rest))


def newtons(trace: RawTrace, trial: Trial) -> FloatArray:
    """Return the force of a trace in N, zero included, (N,)."""
    return trial.calibration.force.physical(trace.force_counts)


def millimetres(trace: RawTrace, trial: Trial) -> FloatArray:
    """Return the displacement of a trace in mm, (N,)."""
    return trial.calibration.displacement.physical(trace.displacement_counts)


def seconds(trace: RawTrace) -> FloatArray:
    """Return the time of a trace in s from its first sample, (N,)."""
    return (trace.tick_us - trace.tick_us[:1]).astype(np.float64) * 1e-6


def graded(size: float, poor_beyond: float, unfit_beyond: float) -> Verdict:
    """Return the verdict on a size that should be small.

    >>> [graded(size, 1.0, 2.0) for size in (0.5, 1.5, 2.5)]
    ['fit', 'poor', 'unfit']
    """
    if size > unfit_beyond:
        return "unfit"
    return "poor" if size > poor_beyond else "fit"
