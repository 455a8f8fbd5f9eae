"""What the person at the bench may have done wrong in a loading sequence, in words, with the step and the likely cause.

How it works: what a single reading shows by itself comes first (polarity, saturation, noise, no rest) and is then kept
out of the search for loads that do not fit (`load_search.py`). What was found there is held against what people do
(`load_words.py`): leave a mass off, leave one on, take one for another, exchange two. A drift of the zero is judged
last, without the readings that were found to be wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from processing.calibration.gravity import Gravity
from processing.calibration.load_search import find_suspects
from processing.calibration.load_words import LoadCode, explain
from processing.calibration.masses import MassList, stack_forces
from processing.calibration.sequence import LoadStep
from processing.calibration.settings import MistakeSettings
from processing.stages import FloatArray

MistakeCode = LoadCode | Literal["wrong_polarity", "saturated", "noisy_reading", "not_settled", "zero_drift"]


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing to look at before the calibration is believed."""

    code: MistakeCode
    step: int | None
    """Place in the sequence, from 0; in words steps are counted from 1. None: the sequence as a whole."""
    masses: tuple[str, ...]
    off_newton: float | None
    """True less stated load, or the drift; None: nothing to be told in newtons."""
    words: str
    advice: str


def find_mistakes(
    steps: Sequence[LoadStep],
    masses: MassList,
    gravity: Gravity,
    *,
    range_counts: tuple[float, float] | None = None,
    settings: MistakeSettings | None = None,
) -> tuple[Mistake, ...]:
    """Return what looks like a mistake, the plainest first; empty: nothing was found.

    range_counts: lowest and highest count of the cell, None if not known. Raises UnknownReference for a mass that is
    not in the list.
    """
    limits = settings or MistakeSettings()
    force = stack_forces([step.masses for step in steps], masses, gravity).force_newton
    if not len(force) or not force.any():
        return ()
    per_count = _newton_per_count(steps, force)
    cut_off = _saturated(steps, force, per_count, range_counts, limits)
    restless = _restless(steps, limits)
    kept = [place for place in range(len(steps)) if place not in {one.step for one in (*cut_off, *restless)}]
    single = {mass.name: float(f) for mass, f in zip(masses.masses, _single(masses, gravity), strict=True)}
    loads = tuple(
        Mistake(one.code, one.step, one.masses, one.off_newton, one.words, one.advice)
        for one in explain(find_suspects(steps, force, kept, limits), steps, single)
    )
    wrong = {one.step for one in (*cut_off, *loads)} | {one.step for one in restless if one.code != "not_settled"}
    # a zero that drifts fast never settles, so readings that did not are looked at too
    good = [step for place, step in enumerate(steps) if place not in wrong]
    drift = _drift(good, force, per_count, limits)
    return (*_polarity(per_count), *drift, *cut_off, *restless, *loads)


def _single(masses: MassList, gravity: Gravity) -> FloatArray:
    return stack_forces([(mass.name,) for mass in masses.masses], masses, gravity).force_newton


def _newton_per_count(steps: Sequence[LoadStep], force: FloatArray) -> float:
    """Return the slope against the median empty reading, as a median over steps: half of them may be wrong."""
    counts = np.array([step.mean_counts for step in steps])
    empty = [step.mean_counts for step in steps if not step.masses]
    zero = float(np.median(empty)) if empty else 0.0
    slopes = (counts - zero)[force > 0.0] / force[force > 0.0]
    middle = float(np.median(slopes))
    return 1.0 / middle if middle else np.inf


def _polarity(per_count: float) -> tuple[Mistake, ...]:
    """Counts must rise when a mass is laid on."""
    if per_count > 0.0:
        return ()
    words = "the counts fall when masses are laid on"
    advice = "exchange the cell's two signal wires, or load it the other way round; the sign of the scale is negative"
    return (Mistake("wrong_polarity", None, (), None, words, advice),)


def _saturated(
    steps: Sequence[LoadStep],
    force: FloatArray,
    per_count: float,
    range_counts: tuple[float, float] | None,
    limits: MistakeSettings,
) -> tuple[Mistake, ...]:
    """A cell at its end shows the end of its range, a number without noise, or one number under different loads."""
    usual_sd = float(np.median([step.sd_counts for step in steps]))
    stopped = _against_a_stop(steps, force, per_count)
    found = []
    for place, step in enumerate(steps):
        at_end = range_counts is not None and not (
            limits.rail_share * range_counts[0] < step.mean_counts < limits.rail_share * range_counts[1]
        )
        still = usual_sd > 0.0 and step.sd_counts == 0.0 and bool(step.masses)
        if at_end or still or place in stopped:
            words = f"step {place + 1} shows {step.mean_counts:.0f} counts, where the cell or its converter ends"
            found.append(Mistake("saturated", place, step.masses, None, words, "use less load, or a lower gain"))
    return tuple(found)


def _against_a_stop(steps: Sequence[LoadStep], force: FloatArray, per_count: float) -> set[int]:
    """Return the steps of the two largest loads, if all of them show the same: the cell rests on its stop.

    Three of them at least: one of two may as well be a forgotten mass.
    """
    levels = np.unique(np.round(force, 9))
    if len(levels) < 3:
        return set()
    heavy = {place for place, load in enumerate(force) if load > levels[-2] - 1e-8}
    shown_newton = abs(per_count) * float(np.ptp([steps[place].mean_counts for place in heavy]))
    return heavy if len(heavy) >= 3 and shown_newton < 0.01 * (levels[-1] - levels[-2]) else set()


def _restless(steps: Sequence[LoadStep], limits: MistakeSettings) -> tuple[Mistake, ...]:
    """A reading far noisier than the others, or one that never came to rest, was disturbed."""
    sd = np.hypot([step.sd_counts for step in steps], 1.0 / np.sqrt(12.0))
    ratio = sd / np.median(sd)
    found = []
    for place, step in enumerate(steps):
        if ratio[place] > limits.noisy_ratio:
            words = f"step {place + 1} is {ratio[place]:.1f} times as noisy as the others: something touched the pan"
            advice = "keep hands and draught away from the pan, and repeat the step"
            found.append(Mistake("noisy_reading", place, step.masses, None, words, advice))
        elif not step.settled:
            words = f"step {place + 1} did not come to rest: a swinging mass, a touch, or a draught"
            advice = "lay the mass down gently, wait, and repeat the step"
            found.append(Mistake("not_settled", place, step.masses, None, words, advice))
    return tuple(found)


def _drift(
    good: Sequence[LoadStep], force: FloatArray, per_count: float, limits: MistakeSettings
) -> tuple[Mistake, ...]:
    """From one empty reading to the next the zero may change by a hundredth of the largest load, or by its noise."""
    empty = [step for step in good if not step.masses]
    if len(empty) < 2:
        return ()
    changes = np.diff([step.mean_counts for step in empty])
    worst = int(np.argmax(np.abs(changes)))
    change_newton = float(changes[worst]) * per_count
    u_counts = max(step.sd_counts / np.sqrt(step.samples) for step in empty)
    if abs(change_newton) <= max(limits.drift_share * float(force.max()), 6.0 * u_counts * abs(per_count)):
        return ()
    lasted = empty[worst + 1].time_s - empty[worst].time_s
    words = f"the empty reading changed by {change_newton:+.4f} N within {lasted:.0f} s"
    advice = "let the cell and its converter warm up, keep sun and draught away, and begin again"
    return (Mistake("zero_drift", None, (), change_newton, words, advice),)
