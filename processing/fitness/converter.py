"""Do the counts behave like counts: alive, and every bit of them?"""

from __future__ import annotations

import numpy as np

from processing.errors import NotTried
from processing.fitness.judgement import Evidence, Judgement, Value, Verdict
from recordings.trial import AirMove
from recordings.types import Int32Array

HIGHEST_BIT = 31
NARROWEST_COUNTS = 0.3
"""Noise narrower than this many counts leaves nearly all samples on one count: averaging gains nothing."""


def stuck_bits(counts: Int32Array, *, cells: int) -> tuple[int, ...]:
    """Return the bits that never change although the counts visit at least `cells` of the bit's cells; lowest first.

    counts: (N,). A cell of bit k is 2^k neighbouring counts in which the bit stays.
    >>> stuck_bits(np.arange(0, 64, 2, dtype=np.int32), cells=8)
    (0,)
    """
    found = []
    for bit in range(HIGHEST_BIT):
        visited = np.unique(counts >> bit)
        if len(visited) < cells:
            break
        if len(np.unique(visited & 1)) == 1:
            found.append(bit)
    return tuple(found)


def missing_codes(counts: Int32Array, *, samples_per_code: float) -> tuple[int, int] | None:
    """Return how many counts within one standard deviation of the median never come, and how many were expected.

    counts: (N,), of noise. None: with so few samples for so wide a noise a count may be missing by chance.
    Source: normal density at one standard deviation, exp(-1/2) / sqrt(2 pi) / sigma a count.
    """
    sigma = float(counts.std())
    if sigma < 1.0 or len(counts) * 0.242 / sigma < samples_per_code:
        return None
    middle = float(np.median(counts))
    expected = np.arange(np.ceil(middle - sigma), np.floor(middle + sigma) + 1.0)
    return int((~np.isin(expected, counts)).sum()), len(expected)


def force_alive(evidence: Evidence) -> Judgement:
    """A load cell's counts are never all the same: at least its noise shows."""
    evidence.need_rest()
    counts = evidence.trial.rest.force_counts
    spread = float(counts.std())
    verdict: Verdict
    if spread >= NARROWEST_COUNTS:
        verdict, template, advice = "fit", "scatter {} at rest; a count is {}", ""
    elif spread > 0.0 or _changes(evidence):
        verdict, template = "poor", "hardly changes, scatter {}; a count is {}"
        advice = "the noise hides below one count: give the cell more gain or the converter more bits"
    else:
        verdict, template = "unfit", "every count is the same, scatter {}; a count is {}"
        advice = "look for a broken wire, a cell without supply, a converter that has stopped"
    count_newton = 1.0 / abs(evidence.trial.calibration.force.counts_per_unit)
    return Judgement(
        verdict=verdict,
        values=(Value("standard_deviation", spread, "counts"), Value("count", count_newton, "N")),
        poor_beyond=None,
        unfit_beyond=None,
        template=template,
        numbers=((spread, "counts"), (count_newton, "N")),
        advice=advice,
    )


def _changes(evidence: Evidence) -> bool:
    """Tell whether any force count of the trial differs from another."""
    counts = np.concatenate([trace.force_counts for trace in evidence.trial.traces()])
    return bool((counts != counts[0]).any())


def displacement_alive(evidence: Evidence) -> Judgement:
    """The displacement gauge must show that something moves; one that stands still may show one count."""
    counts = np.concatenate([trace.displacement_counts for trace in evidence.trial.traces()])
    scale = evidence.trial.calibration.displacement
    count_mm = 1.0 / abs(scale.counts_per_unit)
    alive = len(counts) > 0 and bool((counts != counts[0]).any())
    moved = isinstance(evidence.trial.air, AirMove)
    if not alive and not moved:
        raise NotTried(
            "nothing has moved and the gauge shows one count, as a good one may",
            "run without --still, or move the plunger by hand while it rests",
        )
    place_mm = float(scale.physical(float(np.median(evidence.trial.rest.displacement_counts))))
    return Judgement(
        verdict="fit" if alive else "unfit",
        values=(Value("place_at_rest", place_mm, "mm"), Value("count", count_mm, "mm")),
        poor_beyond=None,
        unfit_beyond=None,
        template="changes; shows {} at rest; a count is {}" if alive else "shows {} whatever moves; a count is {}",
        numbers=((place_mm, "mm"), (count_mm, "mm")),
        advice="" if alive else "look at the gauge's cable, its reading head and its supply",
    )


def force_codes(evidence: Evidence) -> Judgement:
    """At rest the noise must visit every count in its middle, and turn every bit that it spans."""
    evidence.need_rest()
    settings, counts = evidence.settings, evidence.trial.rest.force_counts
    stuck = stuck_bits(counts, cells=settings.cells_for_a_bit)
    codes = missing_codes(counts, samples_per_code=settings.samples_per_code)
    if len(np.unique(counts)) < settings.cells_for_a_bit:
        raise NotTried("the noise is too narrow to turn a bit", "none needed, if the force channel is fit")
    missing, expected = codes or (0, 0)
    holes = "within the noise {} of {} never come" if codes else "too few samples to look for missing counts"
    step_newton = 2 ** len(stuck) / abs(evidence.trial.calibration.force.counts_per_unit)
    padded = stuck == tuple(range(len(stuck)))  # none, or the lowest: a short number in a long word
    if stuck and padded:
        advice = "the lowest bits carry nothing: the converter has fewer bits than its counts, which costs resolution"
    elif stuck:
        advice = "a bit between working bits is stuck: look at the converter's data lines before believing any count"
    else:
        advice = "the converter skips counts; harmless while the noise is wider than the holes" if missing else ""
    return Judgement(
        verdict="unfit" if not padded else "poor" if stuck or missing else "fit",
        values=(
            Value("stuck_bits", len(stuck), "1"),
            Value("missing_codes", missing, "counts"),
            Value("codes_looked_for", expected, "counts"),
            Value("step", step_newton, "N"),
        ),
        poor_beyond=0.0,
        unfit_beyond=None,
        template=f"{_bits(stuck)}; {holes}",
        numbers=((missing, "1"), (expected, "counts")) if codes else (),
        advice=advice,
    )


def displacement_codes(evidence: Evidence) -> Judgement:
    """While the plunger moves every bit of the displacement must turn that the way spans."""
    if not isinstance(evidence.trial.air, AirMove):
        raise NotTried(evidence.trial.air.why, evidence.trial.air.how)
    counts = np.concatenate([trace.displacement_counts for trace in evidence.trial.air.moving])
    way = int(np.ptp(counts))
    if way < evidence.settings.cells_for_a_bit:
        raise NotTried(f"the way spans only {way} counts", "see the item on direction and scale")
    stuck = stuck_bits(counts, cells=evidence.settings.cells_for_a_bit)
    padded = stuck == tuple(range(len(stuck)))
    return Judgement(
        verdict="fit" if not stuck else "poor" if padded else "unfit",
        values=(Value("stuck_bits", len(stuck), "1"), Value("way", way, "counts")),
        poor_beyond=0.0,
        unfit_beyond=None,
        template=f"{_bits(stuck)} on a way of {{}}",
        numbers=((way, "counts"),),
        advice="look at the gauge's data lines; its steps are coarser than its counts" if stuck else "",
    )


def _bits(stuck: tuple[int, ...]) -> str:
    if not stuck:
        return "no bit stuck"
    if len(stuck) == 1:
        return f"bit {stuck[0]} (0 is the lowest) never changes"
    return f"bits {', '.join(map(str, stuck))} (0 is the lowest) never change"
