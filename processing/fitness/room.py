"""Is the force where its range has room: no sample cut off, the zero near nothing?"""

from __future__ import annotations

import numpy as np

from processing.errors import NotTried
from processing.fitness.judgement import Evidence, Judgement, Value, graded, newtons
from recordings.trial import Touch
from recordings.types import Int32Array


def saturation(evidence: Evidence) -> Judgement:
    """No sample may lie at the end of the force range, or pile up at a highest or lowest count of its own."""
    trial, settings = evidence.trial, evidence.settings
    newton = np.concatenate([newtons(trace, trial) for trace in trial.traces()])
    if not len(newton):
        raise NotTried("no sample has come", "look whether the rig streams at all")
    at_rail = int((np.abs(newton) >= settings.rail_share * trial.force_range_newton).sum())
    cut_off = max(at_rail, piled_up(trial.rest.force_counts, pile_share=settings.pile_share))
    largest = float(newton[np.argmax(np.abs(newton))])
    shown: tuple[tuple[float, str], ...] = ((largest, "N"), (trial.force_range_newton, "N"))
    words = "at most {}, the range is {}"
    return Judgement(
        verdict="unfit" if cut_off else "fit",
        values=(
            Value("cut_off", cut_off, "samples"),
            Value("largest", largest, "N"),
            Value("range", trial.force_range_newton, "N"),
        ),
        poor_beyond=None,
        unfit_beyond=0.0,
        template=f"{{}} cut off: {words}" if cut_off else f"nothing cut off: {words}",
        numbers=((cut_off, "samples"), *shown) if cut_off else shown,
        advice="look for an overloaded cell, a broken bridge wire, too much gain" if cut_off else "",
    )


def piled_up(counts: Int32Array, *, pile_share: float) -> int:
    """Return how many samples lie on the highest or lowest count; 0 if no more than noise puts there.

    counts: (N,), of a rest. Fewer than 100, or noise of less than two counts, tell nothing.
    """
    if len(counts) < 100 or counts.std() < 2.0:
        return 0
    edges = [int((counts == edge).sum()) for edge in (counts.max(), counts.min())]
    return max(edges) if max(edges) > pile_share * len(counts) else 0


def zero(evidence: Evidence) -> Judgement:
    """Without load the cell must show little of its range, and leave room for a press."""
    trial, settings = evidence.trial, evidence.settings
    evidence.need_live_force()
    in_air = trial.touch.in_air if isinstance(trial.touch, Touch) else trial.rest
    zero_newton = float(newtons(in_air, trial).mean())
    share = abs(zero_newton) / trial.force_range_newton
    left_newton = trial.force_range_newton - zero_newton
    unfit_share = 1.0 - settings.press_newton / trial.force_range_newton
    verdict = "unfit" if left_newton < settings.press_newton else graded(share, settings.zero_poor_share, 1.0)
    return Judgement(
        verdict=verdict,
        values=(
            Value("share_of_range", 100.0 * share, "%"),
            Value("zero", zero_newton, "N"),
            Value("room_above", left_newton, "N"),
        ),
        poor_beyond=100.0 * settings.zero_poor_share,
        unfit_beyond=100.0 * unfit_share,
        template="{} without load, {} of the range; {} left to press",
        numbers=((zero_newton, "N"), (100.0 * share, "%"), (left_newton, "N")),
        advice=""
        if verdict == "fit"
        else "see that the plunger hangs free, then whether the cell is strained by its mounting; adjust its zero",
    )
